"""The visits of a case side by side: rows in, an outcome out."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from mitigation.calc.latest import LATEST, latest
from mitigation.calc.reduction import REDUCTION, Reductions, Side, reductions
from mitigation.calc.summary import summarise
from mitigation.calc.target import (
    DECISION_WORDS,
    FLAG_TOO_COARSE,
    TARGET,
    Judgements,
    judge,
    target_limit,
)
from mitigation.comparison.comparable import (
    COMPARABLE,
    TOO_EARLY,
    Pair,
    PairSide,
    blocks,
    cautions,
)
from mitigation.comparison.works import DoneItem, done_items, last_works
from mitigation.models import Case
from surveys.calc.arrays import BoolArray, FloatArray
from surveys.calc.measurands import NUMBER_OF
from surveys.calc.qualifiers import qualifier_code
from surveys.calc.uncertainty import standard_uncertainty
from surveys.models import Measurand, Reading, Spot, Visit
from surveys.results import RULES as FINDING_RULES
from surveys.results import ReadingColumns, SpotFinding, bounds_of, read_columns, results_of

RULES = (*FINDING_RULES, LATEST, TARGET, REDUCTION, COMPARABLE)
_NAN = float("nan")


@dataclass(frozen=True)
class Row:
    """One spot and measurand of an outcome, with what its page and letter need beside it."""

    spot: Spot
    measurand: str
    pair: Pair
    guard: float
    sigma: float  # standard uncertainty of ln(after/before)
    result: dict[str, Any]


@dataclass(frozen=True)
class Comparison:
    """What was found in a case before and after; each row at the visits that count for it."""

    case: Case
    visits: tuple[Visit, ...]  # every sealed one, in the order of their days
    rows: tuple[Row, ...]
    summary: dict[str, int]
    columns: ReadingColumns  # the readings of all these visits
    done: tuple[DoneItem, ...] = ()  # where there are rows

    @property
    def baseline(self) -> Visit | None:
        """The latest baseline."""
        return latest_visit(self.visits, Visit.Kind.BASELINE)

    @property
    def follow_up(self) -> Visit | None:
        """The latest follow-up."""
        return latest_visit(self.visits, Visit.Kind.FOLLOW_UP)

    @property
    def counting(self) -> tuple[Visit, ...]:
        """The visits that rows stand on, and the latest of each kind."""
        pks = {side.visit.pk for row in self.rows for side in row.pair.sides()}
        pks |= {visit.pk for visit in (self.baseline, self.follow_up) if visit is not None}
        return tuple(visit for visit in self.visits if visit.pk in pks)

    @property
    def has_corrections(self) -> bool:
        """Whether a reading of these visits was corrected after the seal."""
        return bool(self.columns.corrected.any())

    @property
    def sleeping_places(self) -> frozenset[tuple[str, str]]:
        """Room and spot of the places where somebody sleeps."""
        spots = [row.spot for row in self.rows if row.spot.use == Spot.Use.SLEEPING]
        return frozenset((spot.room.name, spot.name) for spot in spots)

    @property
    def is_too_early(self) -> bool:
        """Whether every follow-up was before its baseline, and so proves no work after that."""
        pairs = [row.pair for row in self.rows if row.pair.before and row.pair.after]
        return bool(pairs) and all(TOO_EARLY in blocks(pair) for pair in pairs)

    def as_json(self) -> dict[str, Any]:
        """The outcome as it is printed and frozen: numbers unrounded."""
        return {
            "case": self.case.reference,
            "guideline": self.case.guideline.code,
            "target_band": self.case.target_band,
            "rules": list(RULES),
            "spots": [row.result for row in self.rows],
            "summary": self.summary,
        }


def sealed_visits(case: Case) -> tuple[Visit, ...]:
    """The sealed visits of a case, in the order of their days."""
    sealed = case.visits.filter(sealed_at__isnull=False).select_related("property")
    return tuple(sealed.order_by("date", "position", "pk"))


def sealed_among(case: Case, visits: Iterable[Visit]) -> tuple[Visit, ...]:
    """The sealed visits of a case, of which all visits have been fetched already."""
    sealed = [visit for visit in visits if visit.sealed_at is not None]
    for visit in sealed:
        visit.property = case.property
    return tuple(sorted(sealed, key=Visit.turn))


def latest_visit(visits: Iterable[Visit], kind: str) -> Visit | None:
    """The visit of a kind with the latest day; of equal days the first one."""
    of_kind = [visit for visit in visits if visit.kind == kind]
    return max(of_kind, key=lambda visit: visit.date, default=None)


def compare(case: Case, visits: tuple[Visit, ...] | None = None) -> Comparison:
    """Every spot of a case before and after, judged and compared; at some of its visits alone."""
    visits = sealed_visits(case) if visits is None else visits
    columns = read_columns(visits)
    pairs = _pairs(case, visits, columns)
    if not pairs:
        summary = dict.fromkeys(("spots", "met", "not_met", "undecided", "worse"), 0)
        return Comparison(case, visits, (), summary, columns)
    placement = case.placement_percent / 100
    before = [pair.before.finding if pair.before else None for pair in pairs.values()]
    after = [pair.after.finding if pair.after else None for pair in pairs.values()]
    on_faulty_ground = np.array(
        [bool(pair.after and pair.after.ground_fault) for pair in pairs.values()], dtype=np.bool_
    )
    measurands = [measurand for _spot, measurand in pairs]
    limits, guards, judged = _judge(case, measurands, after, placement, on_faulty_ground)
    blocked = [blocks(pair) for pair in pairs.values()]
    free = np.array([not reasons for reasons in blocked])
    change = reductions(_side(before), _side(after), placement, _shared(before, after))
    works = last_works(done := tuple(done_items(case)))
    rows = []
    for at, (measurand, pair) in enumerate(zip(measurands, pairs.values(), strict=True)):
        spot = pair.sides()[0].reading.spot
        result = {
            "room": spot.room.name,
            "spot": spot.name,
            "measurand": measurand,
            "unit": Measurand(measurand).unit,
            "before": pair.before.finding.as_json() if pair.before else None,
            "after": _after_json(after[at], bool(judged.too_coarse[at])),
            "reduction": _reduction_json(change, at) if free[at] and change.given[at] else None,
            "target": _target_json(limits, judged, at),
            "before_on": _day(pair.before),
            "after_on": _day(pair.after),
            "comparable": bool(free[at]),
            "blocks": blocked[at],
            "cautions": cautions(pair, works.get(spot.pk)),
        }
        guard, sigma = float(guards[at]), float(change.sigma[at])
        rows.append(Row(spot, measurand, pair, guard, sigma, result))
    summary = summarise(judged.decision, np.where(free, change.percent, np.nan), change.real & free)
    return Comparison(case, visits, tuple(rows), summary, columns, done)


def _pairs(
    case: Case, visits: Sequence[Visit], columns: ReadingColumns
) -> dict[tuple[int, str], Pair]:
    """Both sides of each spot and measurand, in the order of the readings, baselines first."""
    placement = case.placement_percent / 100
    findings = results_of(columns, guideline=case.guideline, placement=placement).findings
    chosen = [
        _that_count(findings.values(), [visit for visit in visits if visit.kind == kind])
        for kind in (Visit.Kind.BASELINE, Visit.Kind.FOLLOW_UP)
    ]
    pks = [finding.reading for side in chosen for finding in side.values()]
    readings = Reading.objects.select_related("instrument", "spot__room").order_by().in_bulk(pks)
    for reading in readings.values():
        if reading.calibration_id is not None:
            reading.calibration = columns.calibrations[reading.calibration_id]
    visit_of = {visit.pk: visit for visit in visits}
    sides = [
        {
            key: PairSide(finding, readings[finding.reading], visit_of[finding.visit])
            for key, finding in side.items()
        }
        for side in chosen
    ]
    read_at = [_measurands_by_spot(side) for side in chosen]
    pairs = {}
    for key in dict.fromkeys((*sides[0], *sides[1])):
        before, after = sides[0].get(key), sides[1].get(key)
        missing = read_at[0] if before is None else read_at[1]
        pairs[key] = Pair(before, after, frozenset(missing.get(key[0], set())))
    return pairs


def _that_count(
    findings: Iterable[SpotFinding], visits: Sequence[Visit]
) -> dict[tuple[int, str], SpotFinding]:
    """Of the findings at visits of one kind those that count, by spot and measurand (latest-1)."""
    place = {visit.pk: at for at, visit in enumerate(visits)}
    theirs = [finding for finding in findings if finding.visit in place]
    groups: dict[tuple[int, str], int] = {}
    group = [groups.setdefault((row.spot, row.measurand), len(groups)) for row in theirs]
    order = [place[row.visit] for row in theirs]
    day = [visits[at].date.toordinal() for at in order]
    rows = latest(*(np.array(column, dtype=np.int64) for column in (group, day, order)))
    return {(theirs[row].spot, theirs[row].measurand): theirs[row] for row in rows}


def _day(side: PairSide | None) -> str | None:
    return side.visit.date.isoformat() if side else None


def _measurands_by_spot(side: Iterable[tuple[int, str]]) -> dict[int, set[str]]:
    measurands: dict[int, set[str]] = {}
    for spot, measurand in side:
        measurands.setdefault(spot, set()).add(measurand)
    return measurands


def _judge(
    case: Case,
    measurands: Sequence[str],
    after: Sequence[SpotFinding | None],
    placement: float,
    faulty_ground: BoolArray,
) -> tuple[FloatArray, FloatArray, Judgements]:
    bounds = bounds_of(case.guideline)[[NUMBER_OF[measurand] for measurand in measurands]]
    limits = target_limit(bounds, case.target_band)
    side = _side(after)
    u_at_limit = standard_uncertainty(limits, side.gain, placement, side.additive)
    judged = judge(
        value=side.value,
        lower=_numbers(after, "lower"),
        qualifier=side.qualifier,
        u=_numbers(after, "u"),
        limit=limits,
        u_at_limit=u_at_limit,
        partial=np.array([finding is not None and finding.axes in (1, 2) for finding in after]),
        certified=np.array([finding is not None and finding.certified for finding in after]),
        faulty_ground=faulty_ground,
    )
    return limits, 2.0 * u_at_limit, judged


def _numbers(side: Sequence[SpotFinding | None], name: str) -> FloatArray:
    return np.array(
        [getattr(finding, name) if finding else _NAN for finding in side], dtype=np.float64
    )


def _side(side: Sequence[SpotFinding | None]) -> Side:
    return Side(
        value=_numbers(side, "value"),
        qualifier=np.array(
            [qualifier_code(finding.qualifier) if finding else 0 for finding in side], dtype=np.int8
        ),
        gain=_numbers(side, "gain"),
        additive=_numbers(side, "additive"),
    )


def _shared(before: Sequence[SpotFinding | None], after: Sequence[SpotFinding | None]) -> BoolArray:
    """Where both values stand on one calibration row: one instrument, one certificate."""
    return np.array(
        [
            first is not None and second is not None and first.calibration == second.calibration
            for first, second in zip(before, after, strict=True)
        ],
        dtype=np.bool_,
    )


def _after_json(after: SpotFinding | None, too_coarse: bool) -> dict[str, Any] | None:
    if after is None:
        return None
    printed = after.as_json()
    if too_coarse:
        printed["flags"].append(FLAG_TOO_COARSE)
    return printed


def _reduction_json(change: Reductions, at: int) -> dict[str, Any]:
    names = ("percent", "percent_low", "percent_high", "db", "db_low", "db_high")
    return {
        **{name: float(getattr(change, name)[at]) for name in names},
        "at_least": bool(change.at_least[at]),
        "real": bool(change.real[at]),
    }


def _target_json(limits: FloatArray, judged: Judgements, at: int) -> dict[str, Any]:
    probability = float(judged.probability[at])
    limit = float(limits[at])
    return {
        "limit": None if np.isnan(limit) else limit,
        "probability": None if np.isnan(probability) else probability,
        "decision": DECISION_WORDS[judged.decision[at]],
    }
