"""The bridge from rows of readings to the rules, and back to findings per spot."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from datetime import date
from typing import Any

import numpy as np

from surveys.calc import units
from surveys.calc.arrays import BoolArray, CodeArray, FloatArray, IntArray
from surveys.calc.bands import BAND
from surveys.calc.findings import Findings, findings
from surveys.calc.highest import HIGHEST, Ground, highest
from surveys.calc.measurands import MEASURANDS, NUMBER_OF
from surveys.calc.qualifiers import QUALIFIER_WORDS
from surveys.calc.resultant import CENSORED, RESULTANT, CountedCells, counted_cells
from surveys.calc.uncertainty import NEAR_FLOOR, RANGE_START, UNCERTAINTY, Instruments
from surveys.models import Calibration, Correction, Guideline, Reading, Visit
from surveys.models.displays import CELLS, MARK_CODES
from surveys.models.visits import is_mistyped
from surveys.results.grounds import (
    UNTRIED,
    GroundState,
    GroundStates,
    VisitChecks,
    checks_at,
    ground_states,
)

RULES = (RESULTANT, CENSORED, UNCERTAINTY, NEAR_FLOOR, HIGHEST, BAND)
_COLUMNS = (
    "pk", "visit_id", "spot_id", "measurand", "ground_point_id", "instrument_id",
    "calibration_id", "unit", "state", "set_aside", *CELLS, *(f"{axis}_mark" for axis in CELLS),
)  # fmt: skip

Key = tuple[int, int, str]  # visit, spot, measurand


@dataclass(frozen=True)
class ReadingColumns:
    """Readings as arrays, one entry per reading, in the measurand's own unit."""

    pk: IntArray
    visit: IntArray
    spot: IntArray
    measurand: IntArray
    ground_point: IntArray  # 0 = none
    calibration: IntArray  # 0 = none
    values: FloatArray
    marks: CodeArray
    instruments: Instruments
    counts: BoolArray  # as used, neither set aside nor corrected
    corrected: BoolArray  # after the seal, by another reading or by none
    replaced: BoolArray  # another reading stands for it
    mistyped: BoolArray  # set aside because it never stood on the display
    ground: CodeArray  # codes of `Ground`
    certified: BoolArray  # certificate in force on the day of the visit
    calibrations: Mapping[int, Calibration]  # the rows behind `calibration`
    checks: VisitChecks  # the ground checks of every visit
    ground_states: GroundStates

    def at(self, visit: Visit) -> "ReadingColumns":
        """The readings of one visit alone."""
        places = np.flatnonzero(self.visit == visit.pk)
        arrays = {
            part.name: getattr(self, part.name)[places]
            for part in fields(self)
            if part.name not in ("instruments", "calibrations", "checks", "ground_states")
        }
        return replace(self, instruments=self.instruments.take(places), **arrays)


@dataclass(frozen=True)
class SpotFinding:
    """A spot's value, band and uncertainty at one visit, and the reading behind it."""

    visit: int
    spot: int
    measurand: str
    unit: str
    value: float
    lower: float
    qualifier: str
    u: float
    band: int
    flags: tuple[str, ...]
    reading: int
    calibration: int
    ground_point: int
    certified: bool
    out_of_date: bool  # has a certificate, but none in force on the day
    gain: float
    additive: float
    axes: int
    n_readings: int
    n_ground_points: int
    ground: GroundState  # of its ground point at the visit

    def as_json(self) -> dict[str, Any]:
        """The part of it that an outcome prints."""
        return {
            "value": self.value,
            "lower": self.lower,
            "qualifier": self.qualifier,
            "u": self.u,
            "band": self.band,
            "flags": list(self.flags),
        }


@dataclass(frozen=True)
class VisitResults:
    """All findings of some visits, by visit, spot and measurand, in the order of the readings."""

    findings: Mapping[Key, SpotFinding] = field(default_factory=dict)


def bounds_of(guideline: Guideline) -> FloatArray:
    """Upper bounds b1, b2, b3 of each measurand, shape (4, 3); NaN where it gives none."""
    table = np.full((len(MEASURANDS), 3), np.nan)
    for band in guideline.bands.all():
        if band.upper is not None:
            table[NUMBER_OF[band.measurand], band.number - 1] = band.upper
    return table


def read_columns(visits: Sequence[Visit]) -> ReadingColumns:
    """The readings of `visits` as arrays, visit by visit: a fixed number of queries."""
    rows = _rows_at(visits)
    columns: dict[str, tuple[Any, ...]] = dict.fromkeys(_COLUMNS, ())
    columns |= dict(zip(_COLUMNS, zip(*rows, strict=True), strict=False))
    measurand = np.array([NUMBER_OF[word] for word in columns["measurand"]], dtype=np.int64)
    factors = np.array([units.factor(unit) for unit in columns["unit"]], dtype=np.float64)
    values = np.array([columns[axis] for axis in CELLS], dtype=np.float64).T.reshape(-1, 4)
    marks = np.array(
        [[MARK_CODES[mark] for mark in columns[f"{axis}_mark"]] for axis in CELLS], dtype=np.int8
    ).T.reshape(-1, 4)
    pk, calibration = _integers(columns["pk"]), _integers(columns["calibration_id"])
    days = {row.pk: row.date for row in visits}
    corrected, replaced, mistyped = _corrections(visits, pk)
    calibrations = _calibrations(calibration)
    checks = checks_at(visits)
    states = ground_states(check for of_visit in checks.values() for check in of_visit)
    as_used = _truths(state == Reading.State.AS_USED for state in columns["state"])
    set_aside = _truths(map(bool, columns["set_aside"]))
    return ReadingColumns(
        pk=pk,
        visit=_integers(columns["visit_id"]),
        spot=_integers(columns["spot_id"]),
        measurand=measurand,
        ground_point=_integers(columns["ground_point_id"]),
        calibration=calibration,
        values=units.to_canonical(values, factors[:, None]) if rows else values,
        marks=marks,
        instruments=_instruments(calibration, calibrations),
        counts=as_used & ~set_aside & ~corrected,
        corrected=corrected,
        replaced=replaced,
        mistyped=mistyped | _truths(map(is_mistyped, columns["set_aside"])),
        ground=_ground(measurand, columns["visit_id"], columns["ground_point_id"], states),
        certified=_certified(calibration, [days[pk] for pk in columns["visit_id"]], calibrations),
        calibrations=calibrations,
        checks=checks,
        ground_states=states,
    )


def _rows_at(visits: Sequence[Visit]) -> list[tuple[Any, ...]]:
    """The readings visit by visit, each in the order in which it was read."""
    readings = Reading.objects.filter(visit__in=visits).order_by("position")
    rows: list[tuple[Any, ...]] = list(readings.values_list(*_COLUMNS))
    place = {visit.pk: at for at, visit in enumerate(visits)}
    of_visit = _COLUMNS.index("visit_id")
    return sorted(rows, key=lambda row: place[row[of_visit]])


def _ground(
    measurand: IntArray,
    visits: Sequence[int],
    points: Sequence[int | None],
    states: GroundStates,
) -> CodeArray:
    """What each reading stands on, if its measurand is read against a ground point."""
    on_ground = np.array([code.has_ground_point for code in MEASURANDS], dtype=np.bool_)[measurand]
    codes = [
        Ground.NONE
        if point is None
        else Ground.FAULTY
        if states.get((visit, point), UNTRIED).fault
        else Ground.SOUND
        for visit, point in zip(visits, points, strict=True)
    ]
    return np.where(on_ground, np.array(codes, dtype=np.int8), np.int8(Ground.NONE))


def _corrections(visits: Sequence[Visit], pk: IntArray) -> tuple[BoolArray, BoolArray, BoolArray]:
    """Which readings were corrected after the seal: all, with another one, as mistyped."""
    rows = Correction.objects.filter(reading__visit__in=visits).order_by()
    corrected: list[int] = []
    replaced: list[int] = []
    mistyped: list[int] = []
    for reading, replacement, reason in rows.values_list("reading_id", "replacement_id", "reason"):
        corrected.append(reading)
        if replacement:
            replaced.append(reading)
        elif is_mistyped(reason):
            mistyped.append(reading)
    return np.isin(pk, corrected), np.isin(pk, replaced), np.isin(pk, mistyped)


def _truths(column: Iterable[bool]) -> BoolArray:
    return np.array(list(column), dtype=np.bool_)


def _integers(column: Sequence[int | None]) -> IntArray:
    return np.array([value or 0 for value in column], dtype=np.int64)


def _calibrations(pks: IntArray) -> dict[int, Calibration]:
    return Calibration.objects.order_by().in_bulk([int(pk) for pk in np.unique(pks) if pk])


def _instruments(calibration: IntArray, rows: Mapping[int, Calibration]) -> Instruments:
    known, inverse = np.unique(calibration, return_inverse=True)
    data = np.array([_specification(rows[int(pk)]) for pk in known]).reshape(-1, 5)
    return Instruments(*data[inverse].T)


def _specification(row: Calibration | None) -> FloatArray:
    """The five numbers of `Instruments`, in the measurand's own unit; NaN for what is not known."""
    if row is None:
        return np.full(5, np.nan)
    ends = np.array([row.resolution, row.noise, row.floor, row.ceiling], dtype=np.float64)
    return np.append(row.gain_percent, units.to_canonical(ends, units.factor(row.unit)))


def cells_of(reading: Reading) -> CountedCells:
    """Axes and total of a single reading as they count, in the measurand's own unit."""
    values = np.array([[getattr(reading, axis) for axis in CELLS]], dtype=np.float64)
    marks = np.array(
        [[MARK_CODES[getattr(reading, f"{axis}_mark")] for axis in CELLS]], dtype=np.int8
    )
    instrument = Instruments(*_specification(reading.calibration)[:, None])
    return counted_cells(units.to_canonical(values, units.factor(reading.unit)), marks, instrument)


def _certified(
    calibration: IntArray, days: Sequence[date], rows: Mapping[int, Calibration]
) -> BoolArray:
    pairs = {
        (pk, day): rows[pk].covers(day)
        for pk, day in set(zip(calibration.tolist(), days, strict=True))
    }
    return np.array(
        [pairs[pair] for pair in zip(calibration.tolist(), days, strict=True)], dtype=np.bool_
    )


def evaluate(columns: ReadingColumns, bounds: FloatArray, placement: float) -> Findings:
    """Every reading against the guideline's bounds."""
    starts = np.array([RANGE_START[measurand] for measurand in MEASURANDS])
    return findings(
        columns.values,
        columns.marks,
        columns.instruments,
        placement,
        bounds[columns.measurand],
        starts[columns.measurand],
    )


def visit_results(
    visits: Sequence[Visit], *, guideline: Guideline, placement: float
) -> VisitResults:
    """The findings of `visits` against `guideline`; `placement` is p as a fraction."""
    return results_of(read_columns(visits), guideline=guideline, placement=placement)


def results_of(columns: ReadingColumns, *, guideline: Guideline, placement: float) -> VisitResults:
    """The findings of readings that were fetched before."""
    if columns.pk.size == 0:
        return VisitResults()
    evaluated = evaluate(columns, bounds_of(guideline), placement)
    keys = np.stack([columns.visit, columns.spot, columns.measurand], axis=1)
    known, group = np.unique(keys, axis=0, return_inverse=True)
    result = evaluated.resultant
    groups, chosen = highest(group, result.value, result.qualifier, columns.counts, columns.ground)
    n_readings = np.bincount(group[columns.counts], minlength=len(known))
    grounds = np.unique(
        np.stack([group, columns.ground_point], axis=1)[
            columns.counts & (columns.ground_point > 0)
        ],
        axis=0,
    )
    n_grounds = np.bincount(grounds[:, 0], minlength=len(known))
    order = np.argsort(_first_rows(group, len(known))[groups], kind="stable")
    certified_rows = {pk for pk, row in columns.calibrations.items() if row.is_certified}
    spot_findings = [
        _finding(columns, evaluated, int(chosen[at]), int(n_readings[groups[at]]),
                 int(n_grounds[groups[at]]), certified_rows)
        for at in order
    ]  # fmt: skip
    return VisitResults(
        {(finding.visit, finding.spot, finding.measurand): finding for finding in spot_findings}
    )


def _first_rows(group: IntArray, n_groups: int) -> IntArray:
    first = np.empty(n_groups, dtype=np.int64)
    first[group[::-1]] = np.arange(group.size)[::-1]
    return first


def _finding(
    columns: ReadingColumns,
    evaluated: Findings,
    row: int,
    n_readings: int,
    n_grounds: int,
    certified_rows: set[int],
) -> SpotFinding:
    result = evaluated.resultant
    qualifier = QUALIFIER_WORDS[result.qualifier[row]]
    value = float(result.value[row])
    measurand = MEASURANDS[columns.measurand[row]]
    calibration = int(columns.calibration[row])
    certified = bool(columns.certified[row])
    visit, point = int(columns.visit[row]), int(columns.ground_point[row])
    return SpotFinding(
        visit=visit,
        spot=int(columns.spot[row]),
        measurand=measurand.value,
        unit=measurand.unit,
        value=value,
        lower=float(result.lower[row]),
        qualifier=qualifier,
        u=float(result.u[row]),
        band=int(evaluated.band[row]),
        flags=tuple(evaluated.flags(row)),
        reading=int(columns.pk[row]),
        calibration=calibration,
        ground_point=point,
        certified=certified,
        out_of_date=not certified and calibration in certified_rows,
        gain=float(columns.instruments.gain[row]),
        additive=float(columns.instruments.additive[row]),
        axes=int(result.axes[row]),
        n_readings=n_readings,
        n_ground_points=n_grounds,
        ground=columns.ground_states.get((visit, point), UNTRIED),
    )


@dataclass(frozen=True)
class ReadingFigure:
    """What one reading comes to, whether it counts or not."""

    unit: str
    value: float
    qualifier: str
    u: float
    band: int
    flags: tuple[str, ...]
    certified: bool

    def as_json(self) -> dict[str, Any]:
        """In the form in which figures are printed."""
        return {"value": self.value, "qualifier": self.qualifier, "u": self.u, "band": self.band}


def reading_figures(
    visit: Visit, *, guideline: Guideline, placement: float
) -> dict[int, ReadingFigure]:
    """Each reading of `visit` by its key, as the rules of one reading have it."""
    return figures_of(read_columns([visit]), guideline=guideline, placement=placement)


def figures_of(
    columns: ReadingColumns, *, guideline: Guideline, placement: float
) -> dict[int, ReadingFigure]:
    """Each of the readings that were fetched before, by its key."""
    if columns.pk.size == 0:
        return {}
    evaluated = evaluate(columns, bounds_of(guideline), placement)
    result = evaluated.resultant
    return {
        int(pk): ReadingFigure(
            unit=MEASURANDS[columns.measurand[row]].unit,
            value=float(result.value[row]),
            qualifier=QUALIFIER_WORDS[result.qualifier[row]],
            u=float(result.u[row]),
            band=int(evaluated.band[row]),
            flags=tuple(evaluated.flags(row)),
            certified=bool(columns.certified[row]),
        )
        for row, pk in enumerate(columns.pk)
    }
