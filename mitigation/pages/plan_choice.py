"""The cheapest plan that holds the rows, what is in the way, and the staircase of cost."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from consult.letters.formats import listing
from consult.letters.stairs import Stair
from mitigation.calc.selection import Choice
from mitigation.letters.money import money_words
from mitigation.letters.plan_page_words import (
    block_sentences,
    formats_here,
    unknown_sentences,
    wanted_words,
)
from mitigation.pages.plan import PlanPage
from mitigation.pages.plan_pictures import stair_pictures
from mitigation.planning.items import Item
from mitigation.planning.plans import Planning
from mitigation.planning.rows import PlanRow
from surveys.models import Spot


@dataclass(frozen=True)
class Plan:
    """A plan that can be taken, with how many rows it holds."""

    number: int
    held: int
    cost: float
    names: tuple[str, ...]
    proven: bool


@dataclass(frozen=True)
class Hindrance:
    """A row that the best plan does not hold, and why."""

    row: PlanRow
    reasons: list[str]


def choice_context(page: PlanPage) -> dict[str, Any]:
    """The choice of selection-1 in words and as a staircase; nothing while a trial is computed."""
    planning = page.planning
    counting = planning.counting
    context: dict[str, Any] = {
        "case": page.case,
        "n_rows": len(counting),
        "waits": any(row.is_pending for row in counting),
        "left_out": _left_out(page),
        "no_cost": [item.name for item in planning.items if item.cost is None],
    }
    if not counting or context["waits"]:
        return context
    choice = planning.choice()
    chosen = tuple(planning.open_items[at] for at in choice.items)
    plans = plans_of(choice, planning.open_items)
    hindrances = [
        Hindrance(row, _reasons(planning, row, chosen))
        for row in page.rows
        if row in counting and not planning.holds(row, chosen)
    ]
    return context | {
        "best": Plan(
            0, len(counting) - len(hindrances), choice.cost, _names(chosen), choice.proven
        ),
        "verdict": _verdict(choice, chosen, len(counting), len(hindrances), planning.wanted),
        "hindrances": hindrances,
        "plans": plans,
        "pictures": _pictures(plans, len(counting)),
    }


def plans_of(choice: Choice, items: Sequence[Item]) -> list[Plan]:
    """Each plan of the staircase once, with the most rows that it holds."""
    plans: dict[tuple[int, ...], Plan] = {}
    for step in choice.steps:
        names = _names([items[at] for at in step.items])
        number = plans[step.items].number if step.items in plans else len(plans) + 1
        plans[step.items] = Plan(number, step.held, step.cost, names, step.proven)
    return list(plans.values())


def _names(items: Sequence[Item]) -> tuple[str, ...]:
    return tuple(item.name for item in items)


def _pictures(plans: Sequence[Plan], rows: int) -> tuple[SafeString, SafeString]:
    return stair_pictures([Stair(plan.cost, plan.held, plan.number) for plan in plans], rows)


def _percent(share: float) -> str:
    """A share in whole percent, rounded down so that it promises no more than it holds."""
    return formats_here().percent(str(int(100 * share + 1e-9)))


def _verdict(
    choice: Choice, chosen: Sequence[Item], rows: int, missing: int, wanted: float
) -> list[str]:
    """What was chosen, whether it reaches the aim, and whether something cheaper was ruled out."""
    percent = wanted_words(wanted)
    cost, names = money_words(choice.cost), listing(list(_names(chosen)))
    values = {"percent": percent, "names": names, "cost": cost, "held": rows - missing,
              "rows": rows, "bound": money_words(choice.bound)}  # fmt: skip
    if choice.reached and not chosen:
        return [_("Every row is held at %(percent)s as it is: nothing has to be done.") % values]
    if choice.reached:
        first = _("%(names)s, together %(cost)s, hold every row that counts at %(percent)s.")
    else:
        first = _missed(proven=choice.proven, chosen=bool(chosen))
    if choice.proven:
        second = _("Every cheaper plan was ruled out, for the model.")
    else:
        second = _(
            "That nothing is cheaper is not proven: a plan that holds as much costs %(bound)s at "
            "least."
        )
    return [first % values, second % values] if choice.reached or chosen else [first % values]


def _missed(*, proven: bool, chosen: bool) -> str:
    """That no plan holds every row; where that is not proven, that none was found."""
    if chosen and proven:
        return _(
            "No plan holds every row at %(percent)s: %(held)s of %(rows)s at most. %(names)s, "
            "together %(cost)s, also bring the others as near as can be."
        )
    if chosen:
        return _(
            "No plan was found that holds every row at %(percent)s. Of those found %(names)s, "
            "together %(cost)s, hold most: %(held)s of %(rows)s."
        )
    if proven:
        return _("No plan holds a row more at %(percent)s than doing nothing: %(held)s of "
                 "%(rows)s.")  # fmt: skip
    return _("No plan was found that holds a row more at %(percent)s than doing nothing: %(held)s "
             "of %(rows)s.")  # fmt: skip


def _reasons(planning: Planning, row: PlanRow, chosen: Sequence[Item]) -> list[str]:
    """Why a row is not held, and how far it could be brought."""
    forecast = row.forecast(chosen)
    if forecast.unknown:
        return unknown_sentences(row, forecast, chosen)
    figures = forecast.figures(row)
    reached = figures.probability if figures else 0.0
    best = float(planning.tables[row.place].probability.max())
    values = {"reached": _percent(reached), "best": _percent(best)}
    if best > reached + 0.005:
        return [_("%(reached)s with this plan; %(best)s at most with any of the items.") % values]
    return [_("%(reached)s: none of the items does more here.") % values]


def _left_out(page: PlanPage) -> list[Hindrance]:
    """Rows that would count if something were known of them."""
    every = page.planning.every_row
    return [
        Hindrance(row, reasons)
        for row in page.rows
        if (every or row.spot.use == Spot.Use.SLEEPING) and (reasons := block_sentences(row))
    ]
