"""Two visits of a case side by side: rows in, an outcome out."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

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
from mitigation.comparison.comparable import COMPARABLE, Pair, blocks, cautions
from mitigation.models import Case
from surveys.calc.arrays import BoolArray, FloatArray
from surveys.calc.measurands import NUMBER_OF
from surveys.calc.qualifiers import qualifier_code
from surveys.calc.uncertainty import standard_uncertainty
from surveys.models import Measurand, Reading, Spot, Visit
from surveys.results import RULES as FINDING_RULES
from surveys.results import ReadingColumns, SpotFinding, bounds_of, read_columns, results_of

RULES = (*FINDING_RULES, TARGET, REDUCTION, COMPARABLE)
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
    """A case's baseline against its follow-up."""

    case: Case
    baseline: Visit | None
    follow_up: Visit | None
    rows: tuple[Row, ...]
    summary: dict[str, int]
    columns: ReadingColumns  # the readings of both visits

    @property
    def is_too_early(self) -> bool:
        """Whether the follow-up was before the baseline, and so proves no work that came after."""
        if self.baseline is None or self.follow_up is None:
            return False
        return self.follow_up.date < self.baseline.date

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


def visits_that_count(case: Case) -> tuple[Visit | None, Visit | None]:
    """The latest sealed baseline and the latest sealed follow-up of the case."""
    latest: dict[str, Visit] = {}
    sealed = case.visits.filter(sealed_at__isnull=False).select_related("property")
    for visit in sealed.order_by("-date", "position", "pk"):
        latest.setdefault(visit.kind, visit)
    return latest.get(Visit.Kind.BASELINE), latest.get(Visit.Kind.FOLLOW_UP)


def compare(case: Case) -> Comparison:
    """Every spot of the two visits that count, judged and compared."""
    baseline, follow_up = visits_that_count(case)
    columns = read_columns([visit for visit in (baseline, follow_up) if visit is not None])
    pairs = _pairs(case, baseline, follow_up, columns)
    read = (
        reading for pair in pairs.values() for reading in (pair.before_reading, pair.after_reading)
    )
    spots = {reading.spot_id: reading.spot for reading in read if reading is not None}
    if not pairs:
        summary = dict.fromkeys(("spots", "met", "not_met", "undecided", "worse"), 0)
        return Comparison(case, baseline, follow_up, (), summary, columns)
    placement = case.placement_percent / 100
    before = [pair.before for pair in pairs.values()]
    after = [pair.after for pair in pairs.values()]
    limits, guards, judged = _judge(case, [key[1] for key in pairs], after, placement)
    blocked = [blocks(pair) for pair in pairs.values()]
    free = np.array([not reasons for reasons in blocked])
    change = reductions(_side(before), _side(after), placement, _shared(before, after))
    rows = []
    for at, ((spot, measurand), pair) in enumerate(pairs.items()):
        warnings = cautions(pair, baseline, follow_up) if baseline and follow_up else []
        result = {
            "room": spots[spot].room.name,
            "spot": spots[spot].name,
            "measurand": measurand,
            "unit": Measurand(measurand).unit,
            "before": pair.before.as_json() if pair.before else None,
            "after": _after_json(pair.after, bool(judged.too_coarse[at])),
            "reduction": _reduction_json(change, at) if free[at] and change.given[at] else None,
            "target": _target_json(limits, judged, at),
            "comparable": bool(free[at]),
            "blocks": blocked[at],
            "cautions": warnings,
        }
        guard, sigma = float(guards[at]), float(change.sigma[at])
        rows.append(Row(spots[spot], measurand, pair, guard, sigma, result))
    summary = summarise(judged.decision, np.where(free, change.percent, np.nan), change.real & free)
    return Comparison(case, baseline, follow_up, tuple(rows), summary, columns)


def _pairs(
    case: Case, baseline: Visit | None, follow_up: Visit | None, columns: ReadingColumns
) -> dict[tuple[int, str], Pair]:
    """The findings of both visits, joined by spot and measurand in the order of the readings."""
    placement = case.placement_percent / 100
    findings = results_of(columns, guideline=case.guideline, placement=placement).findings
    rows = Reading.objects.select_related("instrument", "calibration", "ground_point", "spot__room")
    readings = rows.in_bulk([finding.reading for finding in findings.values()])
    sides: list[dict[tuple[int, str], SpotFinding]] = [
        {
            (spot, measurand): finding
            for (pk, spot, measurand), finding in findings.items()
            if visit is not None and pk == visit.pk
        }
        for visit in (baseline, follow_up)
    ]
    read_at = [_measurands_by_spot(side) for side in sides]
    pairs = {}
    for key in (*sides[0], *(key for key in sides[1] if key not in sides[0])):
        before, after = sides[0].get(key), sides[1].get(key)
        missing = read_at[0] if before is None else read_at[1]
        pairs[key] = Pair(
            before,
            after,
            readings[before.reading] if before else None,
            readings[after.reading] if after else None,
            frozenset(missing.get(key[0], set())),
        )
    return pairs


def _measurands_by_spot(side: dict[tuple[int, str], SpotFinding]) -> dict[int, set[str]]:
    measurands: dict[int, set[str]] = {}
    for spot, measurand in side:
        measurands.setdefault(spot, set()).add(measurand)
    return measurands


def _judge(
    case: Case, measurands: Sequence[str], after: Sequence[SpotFinding | None], placement: float
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
