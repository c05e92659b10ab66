"""What became of visits, places and instruments: who changed what, before and after."""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from functools import partial
from itertools import groupby
from typing import Any

from django.db import models
from django.db.models import Count
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from consult.models import Property
from consult.services.histories import (
    NOTHING,
    UNTOLD,
    Change,
    Field,
    Names,
    Row,
    Teller,
    as_data,
    changed_rows,
    changes,
    plain_words,
    rows_of,
)
from consult.templatetags.figures import given
from surveys.models import (
    Appliance,
    AssessorWords,
    Calibration,
    Circuit,
    Correction,
    GroundCheck,
    GroundPoint,
    Guideline,
    Instrument,
    Panel,
    PlaceRemark,
    Reading,
    Room,
    Spot,
    Visit,
    displays,
)
from surveys.models.measurands import MEASURAND_CHOICES
from surveys.services.corrections import corrections_at

FEWEST_TOGETHER = 2  # readings entered by one person, one after the other, are told as one act


def instrument_changes(instruments: Collection[int], names: Names) -> Iterator[Change]:
    """Instruments with their certificates: two queries, whatever their number."""
    known = dict(Instrument.objects.filter(pk__in=instruments).values_list("pk", "name"))
    yield from changes(
        rows_of(Instrument, id__in=instruments),
        tell=names.teller(Instrument),
        names=names,
        title=lambda row: row["name"],
    )
    yield from changes(
        rows_of(Calibration, instrument_id__in=instruments),
        tell=names.teller(Calibration),
        names=names,
        title=lambda row: (
            f"{row['certificate'] or _('no certificate')} ({known.get(row['instrument_id'], '')})"
        ),
    )


def guideline_changes(names: Names) -> Iterator[Change]:
    """Guidelines of the practice's own: who entered them, and who took them away."""
    yield from changes(
        rows_of(Guideline),
        tell=names.teller(Guideline, untold={*UNTOLD, "is_built_in"}),
        names=names,
        title=lambda row: row["code"],
    )


def place_changes(home: Property, names: Names) -> Iterator[Change]:
    """Rooms and spots of a home."""
    rooms = dict(home.rooms.values_list("pk", "name"))
    yield from changes(
        rows_of(Room, property_id=home.pk),
        tell=names.teller(Room),
        names=names,
        title=lambda row: f"{_('Room')} {row['name']}",
    )
    yield from changes(
        rows_of(Spot, room_id__in=rooms),
        tell=names.teller(Spot),
        names=names,
        title=lambda row: f"{_('Spot')} {rooms[row['room_id']]}, {row['name']}",
    )


def source_changes(home: Property, names: Names) -> Iterator[Change]:
    """Panels, circuits and appliances of a home, those that were taken away too."""
    panels = _named(rows_of(Panel, property_id=home.pk))
    circuits = _named(rows_of(Circuit, panel_id__in=panels))
    circuits |= dict(Circuit.objects.at(home.pk).values_list("pk", "name"))
    panels |= dict(home.panels.values_list("pk", "name"))
    rooms = dict(home.rooms.values_list("pk", "name"))
    known = names.knowing({Panel: panels, Circuit: circuits, Room: rooms})
    kinds: tuple[tuple[type[models.Model], Any, dict[str, Any]], ...] = (
        (Panel, _("Panel"), {"property_id": home.pk}),
        (Circuit, _("Circuit"), {"panel_id__in": panels}),
        (Appliance, _("Appliance"), {"property_id": home.pk}),
    )
    for model, kind, of_home in kinds:
        yield from changes(
            rows_of(model, **of_home),
            tell=known.teller(model, untold={*UNTOLD, "folded", "uid"}),
            names=names,
            title=partial(_titled_by_name, kind),
        )


def _titled_by_name(kind: str, row: Row) -> str:
    return f"{kind} {row['name']}"


def _named(rows: Iterable[Row]) -> dict[Any, str]:
    return {row["id"]: row["name"] for row in rows}


def visit_changes(visits: Sequence[Visit], home: Property, names: Names) -> Iterator[Change]:
    """Visits with their readings, corrections and ground checks: a fixed number of queries."""
    labels = {visit.pk: visit.label for visit in visits}
    history: Any = Visit.history
    called_off = history.filter(property_id=home.pk, history_type="-").values_list("id", flat=True)
    points = dict(GroundPoint.objects.filter(property=home).values_list("pk", "name"))
    yield from changes(
        rows_of(Visit, id__in=[*labels, *called_off]),
        tell=names.teller(Visit),
        names=names,
        title=lambda row: f"{_('Visit')} {row['label']}",
    )
    yield from changes(
        rows_of(GroundCheck, visit_id__in=labels),
        tell=names.knowing({GroundPoint: points}).teller(GroundCheck),
        names=names,
        title=lambda row: f"{_('Ground check')} {points.get(row['point_id'], '')}",
    )
    corrections = corrections_at(visits)
    yield from as_data(_imports(visits, labels, names))
    yield from _readings(labels, home, points, corrections, names)
    for correction in corrections:
        yield _corrected(correction, labels, names)


def word_changes(visits: Sequence[Visit], names: Names) -> Iterator[Change]:
    """The assessor's own words for the letters about visits."""
    labels = {visit.pk: visit.label for visit in visits}
    remarks = list(rows_of(PlaceRemark, visit_id__in=labels))
    spots = Spot.objects.select_related("room").in_bulk({row["spot_id"] for row in remarks})
    yield from changes(
        rows_of(AssessorWords, visit_id__in=labels),
        tell=names.teller(AssessorWords, untold={*UNTOLD, "visit", "written_by", "written_at"}),
        names=names,
        title=lambda row: f"{_('Words for the letter')}, {labels[row['visit_id']]}",
    )
    yield from changes(
        remarks,
        tell=names.teller(PlaceRemark, untold={*UNTOLD, "visit", "spot"}),
        names=names,
        title=lambda row: f"{_('Remark')}: {spots.get(row['spot_id'], '')}",
    )


def _imports(visits: Sequence[Visit], labels: Mapping[int, str], names: Names) -> Iterator[Change]:
    """What came in with a file is told by the file: its readings have no history of their own."""
    source = {visit.pk: visit.source for visit in visits if visit.source is not None}
    counted = Reading.objects.filter(visit__in=source, corrects__isnull=True).order_by()
    for pk, n in counted.values_list("visit").annotate(n=Count("pk")):
        words = ngettext(
            "%(n)d reading came in with the file %(file)s",
            "%(n)d readings came in with the file %(file)s",
            n,
        )
        yield Change(
            at=source[pk].received_at,
            who=names.who(source[pk].received_by_id),
            what=labels[pk],
            kind=words % {"n": n, "file": source[pk].name},
            url=reverse("visit_detail", args=[pk]),
        )


def _readings(
    labels: Mapping[int, str],
    home: Property,
    points: Mapping[int, str],
    corrections: Sequence[Correction],
    names: Names,
) -> Iterator[Change]:
    """Readings that were typed; several entered one after the other are one act."""
    replacements = {correction.replacement_id for correction in corrections}
    pairs = changed_rows(
        (row for row in rows_of(Reading, visit_id__in=labels) if row["id"] not in replacements),
        tell=_reading_teller(home, points),
        names=names,
        title=lambda row: _reading_title(row["position"], labels[row["visit_id"]]),
    )
    entered: list[tuple[Row, Change]] = []
    for row, change in pairs:
        if row["history_type"] == "+":
            entered.append((row, change))
        else:
            yield change
    for _key, run in groupby(entered, lambda pair: _who_and_where(pair[0])):
        together = list(run)
        if len(together) < FEWEST_TOGETHER:
            yield from as_data(change for _row, change in together)
        else:
            yield from as_data([_entered_together(together, labels)])


def _who_and_where(row: Row) -> tuple[Any, ...]:
    return row["visit_id"], row["history_user_id"], row["history_date"].date()


def _entered_together(pairs: Sequence[tuple[Row, Change]], labels: Mapping[int, str]) -> Change:
    (first, begun), (last, ended) = pairs[0], pairs[-1]
    words = ngettext("%(n)d reading entered", "%(n)d readings entered", len(pairs))
    return Change(
        at=ended.at,
        who=ended.who,
        what=labels[last["visit_id"]],
        kind=words % {"n": len(pairs)},
        fields=[
            Field(_("Numbers"), NOTHING, f"{first['position']} … {last['position']}"),
            Field(_("From"), NOTHING, plain_words(begun.at)),
        ],
        url=reverse("visit_detail", args=[last["visit_id"]]),
    )


def _corrected(correction: Correction, labels: Mapping[int, str], names: Names) -> Change:
    reading, new = correction.reading, correction.replacement
    kind = (
        _("corrected by reading %(number)s") % {"number": new.position}
        if new
        else _("set aside after the seal")
    )
    return Change(
        at=correction.made_at,
        who=names.who(correction.made_by_id),
        what=_reading_title(reading.position, labels[reading.visit_id]),
        kind=kind,
        was_there=True,
        reason=correction.reason,
        fields=[Field(_("Display"), _display(reading), _display(new))] if new else [],
        url=reverse("reading_detail", args=[reading.pk]),
    )


def _reading_title(position: int, label: str) -> str:
    return f"{_('Reading')} {position}, {label}"


def _reading_teller(home: Property, points: Mapping[int, str]) -> Teller:
    spots = {
        spot.pk: str(spot)
        for spot in Spot.objects.filter(room__property=home).select_related("room")
    }
    meters = dict(Instrument.objects.values_list("pk", "name"))
    states, measurands = dict(Reading.State.choices), dict(MEASURAND_CHOICES)
    names = {field.name: str(field.verbose_name) for field in Reading._meta.concrete_fields}

    def tell(row: Row) -> dict[str, str]:
        words: dict[str, Any] = {
            names["spot"]: spots.get(row["spot_id"]),
            names["measurand"]: measurands.get(row["measurand"]),
            _("Display"): displays.whole(row, row["unit"], given),
            names["instrument"]: meters.get(row["instrument_id"]),
            names["ground_point"]: points.get(row["ground_point_id"]),
            names["state"]: states.get(row["state"]),
            names["circuits_off"]: row["circuits_off"],
            names["taken_at_text"]: row["taken_at_text"],
            names["height_m"]: row["height_m"],
            names["body_distance_m"]: row["body_distance_m"],
            names["surface_distance_m"]: row["surface_distance_m"],
            names["load"]: row["load"],
            names["note"]: row["note"],
            names["set_aside"]: row["set_aside"],
        }
        return {
            label: NOTHING if value is None or value == "" else plain_words(value)
            for label, value in words.items()
        }

    return tell


def _display(reading: Reading) -> str:
    return displays.whole(reading, reading.unit, given)
