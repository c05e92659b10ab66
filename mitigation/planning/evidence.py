"""What remedies achieved over the cases of the practice, and whether its promises were kept."""

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from django.db.models import Q, QuerySet

from mitigation.calc.evidence import home_effect, pooled
from mitigation.calc.promises import kept_promises
from mitigation.calc.target import MET
from mitigation.comparison import Comparison, compare
from mitigation.comparison.compare import Row
from mitigation.comparison.works import DONE, DoneItem
from mitigation.models import Case, Decision, PlanItem, Prediction
from mitigation.planning.items import measurands_of
from surveys.calc.arrays import none_if_nan
from surveys.models import Measurand

ELECTRIC, MAGNETIC = "electric", "magnetic"
BETWEEN_KINDS = " + "
DB_PER_NEPER = 20.0 / math.log(10.0)

AT_LEAST = "at least"
NO_COMPARISON = "no comparison"
SEVERAL = "several remedies"
DIFFERENTLY = "done differently"
NO_FIGURE = "no figure"
# After value, predicted median, low and high, probability, met (1) or not (0).
KeptRow = tuple[float, float, float, float, float, float]


@dataclass
class HomeRows:
    """The rows of one home for one kind and group: ln(after/before) and its uncertainty."""

    case: Case
    log_ratio: list[float] = field(default_factory=list)
    sigma: list[float] = field(default_factory=list)


@dataclass
class KindEvidence:
    """Everything that is known of one kind in one group of measurands."""

    remedy: str
    group: str
    homes: list[HomeRows] = field(default_factory=list)
    left_out: Counter[str] = field(default_factory=Counter)

    def as_json(self) -> dict[str, Any]:
        """Its figures; null where the homes are too few."""
        effects = [
            home_effect(np.array(home.log_ratio), np.array(home.sigma)) for home in self.homes
        ]
        y, v = (np.array(column) for column in zip(*effects, strict=True)) if effects else (
            np.empty(0), np.empty(0)
        )  # fmt: skip
        mean_effect = pooled(y, v)
        return {
            "remedy": self.remedy,
            "group": self.group,
            "homes": mean_effect.homes,
            "mean_ln": none_if_nan(mean_effect.mean),
            "se": none_if_nan(mean_effect.se),
            "low": none_if_nan(mean_effect.low),
            "high": none_if_nan(mean_effect.high),
            "next_low": none_if_nan(mean_effect.next_low),
            "next_high": none_if_nan(mean_effect.next_high),
            "tau2": none_if_nan(mean_effect.tau2),
            "percent": none_if_nan(100.0 * (1.0 - math.exp(mean_effect.mean))),
            "db": none_if_nan(-DB_PER_NEPER * mean_effect.mean),
            "left_out": dict(sorted(self.left_out.items())),
        }


def evidence_json(cases: Iterable[Case]) -> dict[str, Any]:
    """Evidence and promises over `cases`, numbers unrounded."""
    kinds: dict[tuple[str, str], KindEvidence] = {}
    promises: list[KeptRow] = []
    for case in cases:
        comparison = compare(case)
        _add_case(kinds, comparison)
        promises += _kept(comparison)
    return {
        "remedies": [kinds[key].as_json() for key in sorted(kinds)],
        "promises": _promises_json(promises),
    }


def cases_with_works() -> QuerySet[Case]:
    """The cases in which something was done or promised."""
    done = PlanItem.objects.filter(state__in=DONE).order_by().values("case")
    promised = Prediction.objects.order_by().values("plan__case")
    rows = Case.objects.filter(Q(pk__in=done) | Q(pk__in=promised))
    rows = rows.select_related("guideline", "property__client")
    return rows.prefetch_related("guideline__bands").order_by("pk")


def _add_case(kinds: dict[tuple[str, str], KindEvidence], comparison: Comparison) -> None:
    items = comparison.done
    homes: dict[tuple[str, str], HomeRows] = {}
    for row in comparison.rows if items else ():
        acting = [
            item
            for item in items
            if row.spot.pk in item.spots and row.measurand in measurands_of(item.row.remedy)
        ]
        if acting:
            _add_row(kinds, homes, comparison.case, row, acting)


def _add_row(
    kinds: dict[tuple[str, str], KindEvidence],
    homes: dict[tuple[str, str], HomeRows],
    case: Case,
    row: Row,
    acting: Sequence[DoneItem],
) -> None:
    """A row counts for its kind, or is counted by why it is left out."""
    group = MAGNETIC if row.measurand == Measurand.MAGNETIC_FLUX_DENSITY else ELECTRIC
    keys = sorted(item.row.remedy.key for item in acting)
    together = BETWEEN_KINDS.join(keys)

    def of(remedy: str) -> KindEvidence:
        return kinds.setdefault((remedy, group), KindEvidence(remedy, group))

    if len(keys) > 1:
        for key in dict.fromkeys(keys):
            of(key).left_out[SEVERAL] += 1
    why = _why_left_out(row, acting)
    if why:
        of(together).left_out[why] += 1
        return
    home = homes.get((together, group))
    if home is None:
        home = homes[together, group] = HomeRows(case)
        of(together).homes.append(home)
    home.log_ratio.append(math.log(1.0 - row.result["reduction"]["percent"] / 100.0))
    home.sigma.append(row.sigma)


def _why_left_out(row: Row, acting: Sequence[DoneItem]) -> str:
    if any(item.row.state == PlanItem.State.DONE_DIFFERENTLY for item in acting):
        return DIFFERENTLY
    if row.result["blocks"] or row.pair.before is None or row.pair.after is None:
        return NO_COMPARISON
    if row.result["reduction"] is None:
        return NO_FIGURE
    return AT_LEAST if row.result["reduction"]["at_least"] else ""


def _kept(comparison: Comparison) -> list[KeptRow]:
    """Each frozen prediction of an option, accepted whole, that the comparison decided."""
    decided = Prediction.objects.filter(
        plan__case=comparison.case, plan__decision__answer=Decision.Answer.ACCEPTED
    ).select_related("plan__decision")
    promised = {
        (row.spot_id, row.measurand): row
        for row in decided.order_by("plan__number")
        if row.option == row.plan.decision.option
        and row.plan.decision.is_whole
        and row.median is not None
    }
    kept: list[KeptRow] = []
    for row in comparison.rows:
        prediction = promised.get((row.spot.pk, row.measurand))
        after, decision = row.pair.after, row.result["target"]["decision"]
        if prediction is None or after is None or decision == "undecided":
            continue
        if after.finding.qualifier or after.finding.value <= 0 or prediction.probability is None:
            continue
        day = prediction.plan.decision.decided_at.date()
        if after.visit.date < day:
            continue
        kept.append(
            (
                after.finding.value,
                prediction.median or 0.0,
                prediction.low or 0.0,
                prediction.high or 0.0,
                prediction.probability,
                float(decision in MET),
            )
        )
    return kept


def _promises_json(rows: Sequence[KeptRow]) -> dict[str, Any]:
    after, median, low, high, probability, met = np.array(rows, dtype=np.float64).reshape(-1, 6).T
    kept = kept_promises(after, median, low, high, probability, met > 0.5)
    return {
        "rows": kept.rows,
        "inside": none_if_nan(kept.inside),
        "inside_low": none_if_nan(kept.inside_low),
        "inside_high": none_if_nan(kept.inside_high),
        "brier": none_if_nan(kept.brier),
        "mean_ln": none_if_nan(kept.mean_ln),
    }
