"""A case's plan: what is foretold for a set of items, and which set is the cheapest."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from time import monotonic
from typing import Any

import numpy as np

from mitigation.calc.attribution import ATTRIBUTION
from mitigation.calc.prediction import PREDICTION
from mitigation.calc.read_states import READ_STATE
from mitigation.calc.selection import SELECTION, USUAL_PROBABILITY, Choice, Offer, choose
from mitigation.calc.selection import Row as TableRow
from mitigation.calc.target import target_limit
from mitigation.comparison import Comparison, compare
from mitigation.models import Case, PlanItem
from mitigation.planning.attributions import Kept, LookUp, fit_of, nothing_kept
from mitigation.planning.items import Item, exclusive_pairs, items_of
from mitigation.planning.rows import Forecast, PlanRow, row_noise
from mitigation.planning.sources import Sources, sources_of
from mitigation.planning.tables import table_of
from mitigation.planning.trials import Trial, chosen_trial, trials_of
from surveys.calc.arrays import none_if_nan
from surveys.calc.measurands import NUMBER_OF
from surveys.models import Spot
from surveys.results import RULES as FINDING_RULES
from surveys.results import bounds_of

RULES = (*FINDING_RULES, ATTRIBUTION, READ_STATE, PREDICTION, SELECTION)
"""What stands behind the figures of a plan."""

CHOICE_S = 20.0
"""For a choice with its steps; what took longer is not called proven. [s]"""


@dataclass(frozen=True)
class Planning:
    """Everything that a plan of a case rests on; choosing and foretelling ask nothing more."""

    case: Case
    comparison: Comparison
    sources: Sources
    trials: tuple[Trial, ...]
    rows: tuple[PlanRow, ...]
    item_rows: tuple[PlanItem, ...]
    items: tuple[Item, ...]
    wanted: float = USUAL_PROBABILITY
    every_row: bool = False

    @cached_property
    def counting(self) -> tuple[PlanRow, ...]:
        """The rows that a choice has to hold: sleeping spots with a limit, known as they are."""
        return tuple(row for row in self.rows if self.counts(row))

    def counts(self, row: PlanRow) -> bool:
        """Whether the row is one that a plan has to hold."""
        sleeps = self.every_row or row.spot.use == Spot.Use.SLEEPING
        return sleeps and not np.isnan(row.limit) and not row.blocks()

    def named(self, names: Sequence[str]) -> tuple[Item, ...]:
        """The items of these names, in file order."""
        return tuple(item for item in self.items if item.name in names)

    @cached_property
    def open_items(self) -> tuple[Item, ...]:
        """The items from which a choice is made."""
        return tuple(item for item in self.items if item.is_open)

    @cached_property
    def tables(self) -> dict[tuple[str, str, str], TableRow]:
        """What each set of open items brings to the rows that count, by the place of a row."""
        return {row.place: table_of(row, self.open_items) for row in self.counting}

    def choice(self) -> Choice:
        """The cheapest plan of the open items."""
        offer = Offer(
            cost=np.array([item.cost for item in self.open_items], dtype=np.float64),
            exclusive=exclusive_pairs(self.open_items),
            rows=tuple(self.tables.values()),
            wanted=self.wanted,
        )
        end = monotonic() + CHOICE_S
        return choose(offer, seconds_left=lambda: end - monotonic())

    def holds(self, row: PlanRow, items: Sequence[Item]) -> bool:
        """Whether the row is held by these items."""
        figures = row.forecast(items).figures(row)
        return figures is not None and figures.probability >= self.wanted


def planning_of(
    case: Case,
    *,
    wanted: float = USUAL_PROBABILITY,
    every_row: bool = False,
    look_up: LookUp = lambda _trials, _sources: nothing_kept,
) -> Planning:
    """Findings, trials and items of a case: a fixed number of queries, and the sampling of each
    trial of which `look_up` has nothing."""
    comparison = compare(case)
    home = case.property
    sources = sources_of(home.pk, home.phases)
    trials = trials_of(comparison.visits, comparison.columns)
    spots = list(Spot.objects.filter(room__property=home))
    item_rows = tuple(PlanItem.objects.filter(case=case).whole())
    rows = _rows(case, comparison, sources, trials, look_up(trials, sources))
    return Planning(
        case=case,
        comparison=comparison,
        sources=sources,
        trials=tuple(trials),
        rows=tuple(rows),
        item_rows=item_rows,
        items=tuple(items_of(item_rows, spots)),
        wanted=wanted,
        every_row=every_row,
    )


def _rows(
    case: Case,
    comparison: Comparison,
    sources: Sources,
    trials: Sequence[Trial],
    kept: Kept,
) -> list[PlanRow]:
    bounds = bounds_of(case.guideline)
    rows = []
    for compared in comparison.rows:
        side = compared.pair.before
        if side is None:
            continue
        finding = side.finding
        trial = chosen_trial(
            trials, finding.visit, finding.spot, compared.measurand, finding.ground_point
        )
        fit = fit_of(trial, sources, kept) if trial is not None else None
        of_measurand = bounds[NUMBER_OF[compared.measurand]]
        place = (compared.spot.room.name, compared.spot.name, compared.measurand)
        rows.append(
            PlanRow(
                spot=compared.spot,
                measurand=compared.measurand,
                finding=finding,
                bounds=of_measurand,
                limit=float(target_limit(of_measurand, case.target_band)),
                placement=case.placement_percent / 100,
                sources=sources,
                trial=trial,
                attribution=fit.attribution if fit else None,
                is_misfit=fit.is_misfit if fit else False,
                is_pending=fit.is_pending if fit else False,
                names=fit.names if fit else (),
                noise=row_noise(place),
            )
        )
    return rows


def plan_json(planning: Planning, names: Sequence[str] | None = None) -> dict[str, Any]:
    """The plan as it is printed, of the choice or of the named items; numbers unrounded."""
    choice, open_items = planning.choice(), planning.open_items
    if names is None:
        chosen = tuple(open_items[at] for at in choice.items)
        reached, proven = choice.reached, choice.proven
    else:
        chosen = planning.named(names)
        reached = all(planning.holds(row, chosen) for row in planning.counting)
        proven = choice.proven and chosen == tuple(open_items[at] for at in choice.items)
    return {
        "case": planning.case.reference,
        "rules": list(RULES),
        "probability_wanted": planning.wanted,
        "plan": {
            "items": [item.name for item in chosen],
            "cost": sum(item.cost or 0.0 for item in chosen),
            "reached": reached,
            "proven": proven,
        },
        "rows": [row_json(planning, row, chosen, row.forecast(chosen)) for row in planning.rows],
        "steps": [
            {
                "held": step.held,
                "cost": step.cost,
                "items": [open_items[at].name for at in step.items],
            }
            for step in choice.steps
        ],
    }


def row_json(
    planning: Planning, row: PlanRow, chosen: Sequence[Item], forecast: Forecast
) -> dict[str, Any]:
    """One row under the chosen items, for which `forecast` stands."""
    attribution = row.attribution if forecast.basis == ATTRIBUTION else None
    room, spot, measurand = row.place
    return {
        "room": room,
        "spot": spot,
        "measurand": measurand,
        "unit": row.finding.unit,
        "limit": none_if_nan(row.limit),
        "before": row.finding.value,
        "counts": planning.counts(row),
        "basis": forecast.basis,
        "model_error": attribution.model_error if attribution else None,
        "checkable": attribution.checkable if attribution else None,
        "ratio": _ratio_json(forecast),
        "predicted": _predicted_json(row, forecast, chosen),
        "unknown": list(forecast.unknown),
    }


def _ratio_json(forecast: Forecast) -> dict[str, float] | None:
    if forecast.ratio is None:
        return None
    low, median, high = np.quantile(forecast.ratio, [0.025, 0.5, 0.975])
    return {"median": float(median), "low": float(low), "high": float(high)}


def _predicted_json(
    row: PlanRow, forecast: Forecast, chosen: Sequence[Item]
) -> dict[str, Any] | None:
    figures = forecast.figures(row)
    if figures is None:
        return None
    return {
        "median": figures.median,
        "low": figures.low,
        "high": figures.high,
        "bands": None if np.isnan(figures.bands).any() else figures.bands.tolist(),
        "probability": none_if_nan(figures.probability),
        "overall": row.overall(chosen),
    }
