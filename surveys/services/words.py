"""The assessor's own words about a visit, sealed or not: written anew as a whole, never lost."""

from collections.abc import Mapping
from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from consult.models import User
from consult.services.changes import held, refuse_overtaken, remove_row, save_row
from surveys.models import AssessorWords, PlaceRemark, Spot, Visit


def places_of(visit: Visit) -> list[Spot]:
    """The places that a visit read, each of which may have a remark."""
    spots = Spot.objects.filter(pk__in=visit.readings.order_by().values("spot"))
    return list(spots.select_related("room").order_by("room", "pk"))


@transaction.atomic
def write_words(
    *,
    visit: Visit,
    by: User,
    now: datetime,
    summary: str,
    recommendations: str,
    remarks: Mapping[int, str],
    version: int,
) -> AssessorWords:
    """Keep what stands in the form; `remarks` are by spot, and an empty one goes.

    Two people who write at once: the second is told, and nothing of the first is overwritten.
    """
    held(visit)
    words = AssessorWords.objects.filter(visit=visit).first()
    if _stand_already(visit, words, summary, recommendations, remarks):
        return words or AssessorWords(visit=visit)
    words = words or AssessorWords(visit=visit)
    words.summary, words.recommendations = summary, recommendations
    words.written_by, words.written_at = by, now
    if words.pk is None and version:
        raise ValidationError(_("These words are not there any more."))
    if words.pk is not None:
        refuse_overtaken(words, version)
    save_row(row=words, by=by)
    _keep_remarks(visit, by, remarks)
    return words


def _stand_already(
    visit: Visit,
    words: AssessorWords | None,
    summary: str,
    recommendations: str,
    remarks: Mapping[int, str],
) -> bool:
    """Whether all of it is kept as it is: a second click changes nothing."""
    kept = (words.summary, words.recommendations) if words else ("", "")
    written = {spot: text for spot, text in remarks.items() if text}
    return kept == (summary, recommendations) and written == remarks_of([visit])


def remarks_of(visits: list[Visit]) -> dict[int, str]:
    """What was said of each spot, by its key; of several visits the later in the list counts."""
    order = {visit.pk: place for place, visit in enumerate(visits)}
    rows = PlaceRemark.objects.filter(visit__in=visits).values_list("visit", "spot", "text")
    return {spot: text for _visit, spot, text in sorted(rows, key=lambda row: order[row[0]])}


def _keep_remarks(visit: Visit, by: User, remarks: Mapping[int, str]) -> None:
    rows = {row.spot_id: row for row in visit.remarks.select_for_update()}
    for spot, text in remarks.items():
        row = rows.get(spot)
        if row is not None and not text:
            remove_row(row=row, by=by)
        elif text and (row is None or row.text != text):
            row = row or PlaceRemark(visit=visit, spot_id=spot)
            row.text = text
            save_row(row=row, by=by)
