"""Two versions of a plan side by side."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _

from mitigation.letters.plan_page_words import formats_here, interval_words, item_place
from mitigation.models import PlanDraft
from mitigation.pages.plan import Line, PlanPage
from mitigation.planning.contributions import Interval

NOW = ""  # stands for the plan as it is ticked


@dataclass(frozen=True)
class Version:
    """A kept plan, or the one that is ticked."""

    key: str
    name: str
    items: Sequence[Mapping[str, Any]]
    rows: Sequence[Mapping[str, Any]]
    made_at: datetime | None = None

    @property
    def cost(self) -> float:
        return sum(item["cost"] or 0.0 for item in self.items)

    @property
    def without_price(self) -> list[str]:
        return [item["name"] for item in self.items if item["cost"] is None]


@dataclass(frozen=True)
class Side:
    """One row under one version."""

    name: str
    predicted: str
    probability: float | None
    overall: float | None


def as_kept(page: PlanPage) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Items and rows of the ticked plan as plain data."""
    items = [
        {
            "name": row.name,
            "kind": row.remedy.name,
            "place": item_place(row),
            "cost": None if row.cost is None else float(row.cost),
        }
        for row in page.planning.item_rows
        if row.is_chosen
    ]
    return items, [_row(line) for line in page.lines]


def _row(line: Line) -> dict[str, Any]:
    figures = line.figures
    room, spot, measurand = line.row.place
    return {
        "room": room,
        "spot": spot,
        "measurand": measurand,
        "unit": line.row.finding.unit,
        "predicted": figures and {
            "median": figures.median, "low": figures.low, "high": figures.high
        },
        "probability": line.probability,
        "overall": line.overall,
    }  # fmt: skip


def versions_of(page: PlanPage, drafts: Iterable[PlanDraft]) -> list[Version]:
    """The plan as it is ticked, then what was kept, the latest first."""
    items, rows = as_kept(page)
    kept = [
        Version(str(draft.pk), draft.name, draft.items, draft.rows, draft.made_at)
        for draft in sorted(drafts, key=lambda draft: -draft.pk)
    ]
    return [Version(NOW, _("as it is ticked now"), items, rows), *kept]


def side_by_side(
    first: Version, second: Version
) -> list[tuple[Mapping[str, Any], tuple[Side, Side]]]:
    """Each row that one of the two has, with its figures under both."""
    sides = [{_place(row): row for row in version.rows} for version in (first, second)]
    places = dict.fromkeys([*sides[0], *sides[1]])
    return [
        (
            sides[0].get(place) or sides[1][place],
            (_side(first.name, sides[0].get(place)), _side(second.name, sides[1].get(place))),
        )
        for place in places
    ]


def _place(row: Mapping[str, Any]) -> tuple[str, str, str]:
    return row["room"], row["spot"], row["measurand"]


def _side(name: str, row: Mapping[str, Any] | None) -> Side:
    if row is None or row["predicted"] is None:
        return Side(name, "", None, None)
    figures = row["predicted"]
    interval = Interval(figures["low"], figures["median"], figures["high"])
    words = interval_words(interval, formats_here())
    return Side(name, words, row["probability"], row["overall"])
