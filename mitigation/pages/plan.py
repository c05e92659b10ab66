"""The plan of a case as its page shows it: sources, items, what is foretold for each row."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from django.utils.safestring import SafeString

from mitigation.calc.prediction import Predicted
from mitigation.calc.selection import USUAL_PROBABILITY
from mitigation.letters.plan_page_words import (
    basis_sentences,
    forecast_sentences,
    formats_here,
    interval_words,
    item_place,
    names_of,
    rows_in_order,
    wanted_words,
)
from mitigation.models import ENDS, Case, PlanDraft, Remedy
from mitigation.pages.plan_pictures import source_pictures
from mitigation.planning.contributions import (
    Contribution,
    Interval,
    contributions_of,
    read_states,
    shares_of,
)
from mitigation.planning.items import Item
from mitigation.planning.plans import Planning, planning_of
from mitigation.planning.rows import PlanRow
from mitigation.planning.suggestions import Suggestion, suggestions_of
from mitigation.services.trial_fits import KeptFits, sampling_progress
from surveys.calc.arrays import none_if_nan
from surveys.models import Spot
from surveys.services.facts import band_names


@dataclass(frozen=True)
class Line:
    """One spot and measurand under the items of a plan; figures are None where it is unknown."""

    row: PlanRow
    before: dict[str, Any]
    figures: Predicted | None
    overall: float | None
    remarks: list[str]
    counts: bool
    is_held: bool

    @property
    def predicted(self) -> str:
        """The middle of what is foretold, with its interval."""
        if self.figures is None:
            return ""
        interval = Interval(self.figures.low, self.figures.median, self.figures.high)
        return interval_words(interval, formats_here())

    @property
    def probability(self) -> float | None:
        return None if self.figures is None else none_if_nan(self.figures.probability)

    @property
    def band(self) -> int | None:
        """The band with most of the draws."""
        if self.figures is None or np.isnan(self.figures.bands).any():
            return None
        return int(np.argmax(self.figures.bands)) + 1

    @property
    def band_share(self) -> float | None:
        return (
            None
            if self.band is None or self.figures is None
            else float(self.figures.bands[self.band - 1])
        )

    @property
    def limit(self) -> float | None:
        return none_if_nan(self.row.limit)


@dataclass(frozen=True)
class SpotSources:
    """What each source adds at one spot, in a picture and in words."""

    row: PlanRow
    pictures: tuple[SafeString, SafeString] | None
    sentences: list[str]
    is_stale: bool
    states: list[tuple[str, str]]  # where nothing is attributed: what was off, what was read


@dataclass(frozen=True)
class PlanPage:
    """A case with everything that its plan rests on, as far as trials are computed."""

    case: Case
    planning: Planning
    kept: KeptFits

    @cached_property
    def rows(self) -> list[PlanRow]:
        """Sleeping places first, in the one order of places."""
        return rows_in_order(self.planning.rows)

    @property
    def chosen(self) -> tuple[Item, ...]:
        return tuple(item for item in self.planning.items if item.is_chosen)

    @cached_property
    def pending(self) -> list[PlanRow]:
        return [row for row in self.rows if row.is_pending]

    @cached_property
    def stale(self) -> list[PlanRow]:
        """Rows whose trial was computed, and changed since."""
        return [row for row in self.pending if row.trial and self.kept.has_earlier(row.trial)]

    @cached_property
    def lines(self) -> list[Line]:
        return [line_of(self.planning, row, self.chosen) for row in self.rows]

    @property
    def cost(self) -> float:
        return sum(item.cost or 0.0 for item in self.chosen)


def read_plan(
    case: Case, *, wanted: float = USUAL_PROBABILITY, every_row: bool = False
) -> PlanPage:
    """The plan of a case from kept draws alone: nothing is sampled, a fixed number of queries."""
    kept = KeptFits()
    planning = planning_of(case, wanted=wanted, every_row=every_row, look_up=kept.look_up)
    return PlanPage(case, planning, kept)


def line_of(planning: Planning, row: PlanRow, items: Sequence[Item]) -> Line:
    """A row under these items."""
    forecast = row.forecast(items)
    figures = forecast.figures(row)
    overall = figures.probability if figures else None
    if figures is not None and row.acting(items):  # without one both are the same
        overall = row.overall(items)
    return Line(
        row=row,
        before=row.finding.as_json(),
        figures=figures,
        overall=None if overall is None else none_if_nan(overall),
        remarks=forecast_sentences(row, forecast, items),
        counts=planning.counts(row),
        is_held=figures is not None and figures.probability >= planning.wanted,
    )


def spot_sources(
    page: PlanPage, row: PlanRow, contributions: Sequence[Contribution]
) -> SpotSources:
    states = []
    if not contributions and row.trial is not None and not row.is_pending:
        formats = formats_here()
        low_high = {frozenset(): (row.trial.all_on, row.trial.all_on), **read_states(row)}
        states = [
            (names_of(row.sources, state), formats.quantity(high, row.finding.unit))
            for state, (_low, high) in low_high.items()
            if np.isfinite(high)
        ]
    return SpotSources(
        row=row,
        pictures=source_pictures(row, contributions) if contributions else None,
        sentences=basis_sentences(row, contributions),
        is_stale=row in page.stale,
        states=states,
    )


def forecast_context(page: PlanPage) -> dict[str, Any]:
    """What the part of the page needs that changes with a tick."""
    return {
        "case": page.case,
        "lines": page.lines,
        "cost": page.cost,
        "without_price": [item.name for item in page.chosen if item.cost is None],
        "n_counting": sum(line.counts for line in page.lines),
        "n_held": sum(line.counts and line.is_held for line in page.lines),
        "wanted": wanted_words(page.planning.wanted),
        "n_items": len(page.planning.item_rows),
        "has_ended": page.case.stage in ENDS,
        "pending": page.pending,
        "stale": page.stale,
        "progress": sampling_progress(page.case) if page.pending else None,
        "band_names": band_names(page.case.guideline),
    }


def whole_context(page: PlanPage) -> dict[str, Any]:
    """What the rest of the page needs."""
    attributed = [(row, contributions_of(row)) for row in page.rows if row.trial is not None]
    added = {row.place: contributions for row, contributions in attributed}
    kinds = list(Remedy.objects.offered())
    return {
        "tried": [spot_sources(page, row, contributions) for row, contributions in attributed],
        "untried": [row for row in page.rows if row.trial is None],
        "open_visits": page.case.visits.filter(sealed_at=None).order_by("date", "pk"),
        "items": [(item, item_place(item)) for item in page.planning.item_rows],
        "suggestions": suggestions_of(
            page.planning, kinds, lambda row: shares_of(row, added.get(row.place))
        ),
        "kinds": kinds,
        "n_drafts": PlanDraft.objects.filter(case=page.case).count(),
        "sleeping": Spot.Use.SLEEPING,
    }


def suggested(page: PlanPage, keys: Sequence[str] | None) -> list[Suggestion]:
    """What is offered now, of the asked keys; all of it without keys."""
    offered = suggestions_of(page.planning, Remedy.objects.offered())
    return [row for row in offered if keys is None or row.key in keys]
