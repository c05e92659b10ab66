"""Rule safety over the rows of visits: what stops a survey, and what was in order later."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from surveys.calc import safety
from surveys.calc.measurands import MEASURANDS
from surveys.calc.qualifiers import QUALIFIER_WORDS, Qualifier
from surveys.models import GroundCheck, Spot, Visit
from surveys.results import ReadingColumns, evaluate, read_columns
from surveys.results.grounds import is_far_apart

About = tuple[object, ...]  # what was tried: an outlet, two points, a spot in a quantity


@dataclass(frozen=True)
class Danger:
    """A reason to stop the survey, keep clear and call a licensed electrician."""

    kind: str  # "field", "outlet" or "ground points"
    place: str
    value: float | None = None  # None of an outlet
    unit: str = ""
    qualifier: str = ""
    about: About = ()
    day: date | None = None
    over_on: date | None = None  # tried again on this day and found in order


@dataclass(frozen=True)
class _Found:
    """The dangers of a visit, and what was tried there and was in order."""

    dangers: tuple[Danger, ...]
    sound: frozenset[About]


def dangers_of(visit: Visit) -> list[Danger]:
    """What at this visit calls for a licensed electrician before anything else (rule safety)."""
    return [
        danger
        for visit_dangers in _found_at([visit], read_columns([visit]))
        for danger in visit_dangers.dangers
    ]


def dangers_by_now(visits: Sequence[Visit], columns: ReadingColumns | None = None) -> list[Danger]:
    """The dangers of some visits; of one that was found in order at a later one, since when.

    The last visit that tried the same thing has the word. What nobody tried again is not over.
    `columns` are their readings, where they were fetched before.
    """
    in_order = sorted(visits, key=Visit.turn)
    met = _found_at(in_order, read_columns(in_order) if columns is None else columns)
    by_now = []
    for at, here in enumerate(met):
        for danger in here.dangers:
            over_on = None
            for visit, later in zip(in_order[at + 1 :], met[at + 1 :], strict=True):
                if danger.about in later.sound:
                    over_on = visit.date
                elif any(danger.about == repeated.about for repeated in later.dangers):
                    over_on = None
            by_now.append(replace(danger, over_on=over_on))
    return by_now


def _found_at(visits: Sequence[Visit], columns: ReadingColumns) -> list[_Found]:
    """What each of the visits met."""
    return [_met(visit, columns.checks[visit.pk], columns.at(visit)) for visit in visits]


def _met(visit: Visit, checks: Sequence[GroundCheck], columns: ReadingColumns) -> _Found:
    dangers = [*_outlets(checks), *_ground_points(checks)]
    fields, sound_fields = _fields(visit, columns)
    dangers += fields
    wrong = {danger.about for danger in dangers}
    sound: set[About] = set(sound_fields)
    sound |= {_outlet(check) for check in checks if check.outlet_test == check.OutletTest.OK}
    sound |= {
        _two_points(check)
        for check in checks
        if check.voltage_v is not None and check.other_point_id
    }
    dated = tuple(replace(danger, day=visit.date) for danger in dangers)
    return _Found(dated, frozenset(sound - wrong))


def _outlet(check: GroundCheck) -> About:
    return "outlet", check.point_id


def _two_points(check: GroundCheck) -> About:
    return "ground points", frozenset({check.point_id, check.other_point_id})


def _outlets(checks: Sequence[GroundCheck]) -> Iterator[Danger]:
    for check in checks:
        if check.outlet_test == check.OutletTest.FAULT:
            yield Danger("outlet", str(check.point), about=_outlet(check))


def _ground_points(checks: Sequence[GroundCheck]) -> Iterator[Danger]:
    for check in checks:
        if is_far_apart(check):
            place = f"{check.point} - {check.other_point or '?'}"
            yield Danger("ground points", place, check.voltage_v, "V", about=_two_points(check))


def _fields(visit: Visit, columns: ReadingColumns) -> tuple[list[Danger], set[About]]:
    """Readings above the reference level, and the spots and quantities that were read under it."""
    if columns.pk.size == 0:
        return [], set()
    frequency = visit.property.frequency_hz
    levels = np.array([safety.reference_level(code, frequency) for code in MEASURANDS])
    # Bounds play no part here: what counts is the display itself, whatever the range of the
    # instrument, trials and set-asides included; but what was corrected, or set aside because it
    # was mistyped, never stood on it.
    boundless = np.full(columns.pk.size, np.nan)
    as_shown = replace(
        columns, instruments=replace(columns.instruments, floor=boundless, ceiling=boundless)
    )
    evaluated = evaluate(as_shown, np.ones((len(MEASURANDS), 3)) * [1.0, 2.0, 3.0], 0.0)
    value, qualifier = evaluated.resultant.value, evaluated.resultant.qualifier
    over = safety.above_reference_level(value, qualifier, levels[columns.measurand])
    over &= ~columns.replaced & ~columns.mistyped
    spots = Spot.objects.select_related("room").in_bulk(columns.spot[over].tolist())

    tried: list[About] = [
        ("field", int(spot), MEASURANDS[number].value)
        for spot, number in zip(columns.spot, columns.measurand, strict=True)
    ]

    dangers = []
    for row in np.flatnonzero(over):
        unit = MEASURANDS[columns.measurand[row]].unit
        sign = QUALIFIER_WORDS[Qualifier.ABOVE] if qualifier[row] == Qualifier.ABOVE else ""
        place = str(spots[int(columns.spot[row])])
        dangers.append(Danger("field", place, float(value[row]), unit, sign, tried[row]))
    open_end = {tried[row] for row in np.flatnonzero(qualifier == Qualifier.ABOVE)}
    under = {tried[row] for row in np.flatnonzero(columns.counts & ~over)}
    return dangers, under - open_end
