"""The log of some visits for a letter: every reading, whether it counts or not."""

from collections.abc import Collection, Sequence

from django.utils import translation
from django.utils.translation import gettext as _

from consult.letters.formats import NBSP, Formats
from surveys.letters.facts import LoggedReading
from surveys.letters.technical import visit_words
from surveys.models import Guideline, Reading, Visit
from surveys.models.visits import aside_words
from surveys.results import ReadingColumns, ReadingFigure, figures_of
from surveys.services.corrections import corrections_at, set_aside_words
from surveys.services.facts import reading_facts, visit_facts


def logged_readings(
    visits: Sequence[Visit],
    columns: ReadingColumns,
    *,
    guideline: Guideline,
    placement: float,
    deciding: Collection[int],
    formats: Formats,
) -> list[LoggedReading]:
    """All readings of `visits` in the order of the log; `columns` hold them, and perhaps more.

    `deciding` are the keys of those on which a value rests.
    """
    figures = figures_of(columns, guideline=guideline, placement=placement)
    rows = (
        Reading.objects.filter(visit__in=visits)
        .select_related("spot__room", "instrument", "ground_point")
        .order_by("visit__date", "visit__position", "visit", "position")
    )
    with translation.override(formats.language):
        later = set_aside_words(corrections_at(visits), _("corrected"))
        named = {visit.pk: visit for visit in visits}
        heads = {
            visit.pk: f"{visit_words(visit_facts(visit))}, {formats.day(visit.date)}"
            for visit in visits
        }
        return [
            LoggedReading(
                visit=heads[row.visit_id],
                position=row.position,
                room=row.spot.room.name,
                spot=row.spot.name,
                measurand=row.measurand,
                reading=reading_facts(row, named[row.visit_id]),
                off=row.circuits_off,
                is_trial=row.state == Reading.State.TRIAL,
                result=_result(figures.get(row.pk), formats),
                aside="; ".join(
                    aside_words(why) for why in (row.set_aside, later.get(row.pk, "")) if why
                ),
                decides=row.pk in deciding,
                is_certified=row.pk in figures and figures[row.pk].certified,
            )
            for row in rows
        ]


def _result(figure: ReadingFigure | None, formats: Formats) -> str:
    if figure is None:
        return ""
    return f"{formats.value(figure.value, figure.qualifier, figure.u)}{NBSP}{figure.unit}"
