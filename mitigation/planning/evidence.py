"""What the comparison of one case says of its remedies, and of what was promised there."""

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

import numpy as np
from django.utils import timezone

from mitigation.calc.evidence import EVIDENCE, home_effect
from mitigation.calc.promises import PROMISE, held_against
from mitigation.calc.target import MET
from mitigation.comparison import Comparison, compare
from mitigation.comparison.compare import RULES as COMPARISON_RULES
from mitigation.comparison.compare import Row
from mitigation.comparison.works import DoneItem
from mitigation.models import Decision, KeptEffect, KeptPromise, PlanItem, Prediction
from mitigation.planning.items import measurands_of
from surveys.models import Measurand

RULES = (*COMPARISON_RULES, EVIDENCE, PROMISE)

BETWEEN_KINDS = " + "

AT_LEAST = "at least"
NO_COMPARISON = "no comparison"
SEVERAL = "several remedies"
DIFFERENTLY = "done differently"
NO_FIGURE = "no figure"


@dataclass
class HomeRows:
    """The rows of one home for one kind and group: ln(after/before), its uncertainty."""

    log_ratio: list[float] = field(default_factory=list)
    sigma: list[float] = field(default_factory=list)
    left_out: Counter[str] = field(default_factory=Counter)


KindKey = tuple[str, str]  # kinds that acted together, group of measurands


def effects_of(comparison: Comparison) -> list[KeptEffect]:
    """What each kind did at the spots of a case that it served."""
    kept = []
    for (remedy, group), rows in sorted(_rows_by_kind(comparison).items()):
        effect, variance = (
            home_effect(np.array(rows.log_ratio), np.array(rows.sigma))
            if rows.log_ratio
            else (None, None)
        )
        kept.append(
            KeptEffect(
                case=comparison.case,
                remedy=remedy,
                group=group,
                n_rows=len(rows.log_ratio),
                effect=effect,
                variance=variance,
                left_out=dict(sorted(rows.left_out.items())),
            )
        )
    return kept


def _rows_by_kind(comparison: Comparison) -> Mapping[KindKey, HomeRows]:
    items = comparison.done
    kinds: dict[KindKey, HomeRows] = {}
    for row in comparison.rows if items else ():
        acting = [
            item
            for item in items
            if row.spot.pk in item.spots and row.measurand in measurands_of(item.row.remedy)
        ]
        if acting:
            _add_row(kinds, row, acting)
    return kinds


def _add_row(kinds: dict[KindKey, HomeRows], row: Row, acting: Sequence[DoneItem]) -> None:
    """A row counts for its kind, or is counted by why it is left out."""
    is_magnetic = row.measurand == Measurand.MAGNETIC_FLUX_DENSITY
    group = KeptEffect.Group.MAGNETIC if is_magnetic else KeptEffect.Group.ELECTRIC
    keys = sorted(item.row.remedy.key for item in acting)

    def of(remedy: str) -> HomeRows:
        return kinds.setdefault((remedy, group.value), HomeRows())

    if len(keys) > 1:
        for key in dict.fromkeys(keys):
            of(key).left_out[SEVERAL] += 1
    together = of(BETWEEN_KINDS.join(keys))
    why = _why_left_out(row, acting)
    if why:
        together.left_out[why] += 1
        return
    together.log_ratio.append(math.log(1.0 - row.result["reduction"]["percent"] / 100.0))
    together.sigma.append(row.sigma)


def _why_left_out(row: Row, acting: Sequence[DoneItem]) -> str:
    if any(item.row.state == PlanItem.State.DONE_DIFFERENTLY for item in acting):
        return DIFFERENTLY
    if row.result["blocks"] or row.pair.before is None or row.pair.after is None:
        return NO_COMPARISON
    if row.result["reduction"] is None:
        return NO_FIGURE
    return AT_LEAST if row.result["reduction"]["at_least"] else ""


def promises_of(comparison: Comparison) -> list[KeptPromise]:
    """Each frozen prediction of an option, accepted whole, that a comparison decided.

    Where another plan was accepted later, the follow-ups before it decide on the one before: what
    came after them is the work of both.
    """
    case = comparison.case
    accepted = Decision.objects.filter(plan__case=case, answer=Decision.Answer.ACCEPTED)
    decisions = list(accepted.select_related("plan").order_by("decided_at", "pk"))
    kept: list[KeptPromise] = []
    for at, decision in enumerate(decisions):
        later = decisions[at + 1] if at + 1 < len(decisions) else None
        promised = _promised(decision) if decision.is_whole else {}
        if promised:
            decided = comparison if later is None else _before(comparison, later)
            kept += _held(decided, promised, _day(decision))
    return kept


def _before(comparison: Comparison, decision: Decision) -> Comparison:
    """What was known of a case when another plan was accepted."""
    day = _day(decision)
    visits = tuple(visit for visit in comparison.visits if visit.date < day)
    return compare(comparison.case, visits)


def _day(decision: Decision) -> date:
    return timezone.localdate(decision.decided_at)


def _promised(decision: Decision) -> Mapping[tuple[int, str], Prediction]:
    """What the accepted option foretold, by spot and measurand."""
    rows = Prediction.objects.filter(plan=decision.plan_id, option=decision.option)
    return {
        (row.spot_id, row.measurand): row
        for row in rows
        if row.median and row.probability is not None
    }


def _held(
    comparison: Comparison, promised: Mapping[tuple[int, str], Prediction], since: date
) -> list[KeptPromise]:
    """Predictions against what was found from the day of the decision on."""
    kept: list[KeptPromise] = []
    for row in comparison.rows:
        prediction = promised.get((row.spot.pk, row.measurand))
        if prediction is None or row.pair.after is None or not _is_decided(row, since):
            continue
        after = row.pair.after.finding.value
        figures = (after, prediction.median, prediction.low, prediction.high)
        inside, ln_ratio = held_against(*(np.array([figure or 0.0]) for figure in figures))
        kept.append(
            KeptPromise(
                case=comparison.case,
                prediction=prediction,
                after=after,
                inside=bool(inside[0]),
                probability=prediction.probability or 0.0,
                met=row.result["target"]["decision"] in MET,
                ln_ratio=float(ln_ratio[0]),
            )
        )
    return kept


def _is_decided(row: Row, since: date) -> bool:
    """Whether a value was found after the decision, and decides on the target."""
    after = row.pair.after
    if after is None or row.result["target"]["decision"] == "undecided":
        return False
    if after.finding.qualifier or after.finding.value <= 0:
        return False
    return after.visit.date >= since
