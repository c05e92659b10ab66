"""What an offered plan tells, gathered from the rows and the rules of planning."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
from django.utils.translation import gettext as _
from django.utils.translation import override

from consult.letters.content import usual_flux_unit
from consult.letters.words import spot_name
from consult.models import current_practice
from mitigation.letters.plan_facts import ItemFacts, OfferFacts, OptionFacts, Reason
from mitigation.letters.plan_page_words import rows_in_order
from mitigation.letters.plan_words import SAME_PLACE
from mitigation.models import PlanItem
from mitigation.planning.items import Item
from mitigation.planning.plans import RULES, Planning, row_json
from mitigation.planning.rows import PlanRow
from mitigation.planning.trials import ALL_ON, EVERYTHING, Trial
from surveys.calc.arrays import FloatArray
from surveys.models import Spot
from surveys.models.measurands import measurand_words
from surveys.services import facts

MOST_OPTIONS = 3


@dataclass(frozen=True)
class Shares:
    """What each part makes of the field of a row, draw by draw: shape (draws, parts). [1]"""

    row: PlanRow
    of_parts: FloatArray


def offer_facts(
    *,
    planning: Planning,
    options: Sequence[Sequence[str]],
    number: int,
    valid_until: date,
    may_be_parted: bool,
    words: str,
) -> OfferFacts:
    """The facts of a version; `options` name the items of each."""
    case = planning.case
    practice, home = current_practice(), case.property
    language = home.client.language
    rows = rows_in_order(planning.rows)
    offered = set().union(*options)
    with override(language):
        trials = tuple(_trial_lines(planning))
        items = _items_facts([row for row in planning.item_rows if row.name in offered], planning)
        sets = tuple(
            OptionFacts(
                letter=letter,
                items=tuple(items[name] for name in names),
                rows=tuple(_row(planning, row, planning.named(names)) for row in rows),
            )
            for letter, names in zip("ABC", options, strict=False)
        )
    return OfferFacts(
        number=number,
        options=sets,
        guideline=facts.guideline_facts(case.guideline),
        target_band=case.target_band,
        currency=practice.currency,
        tax_line=practice.tax_line,
        valid_until=valid_until,
        may_be_parted=may_be_parted,
        country=home.country,
        flux_unit=usual_flux_unit(home.country, language),
        rules=RULES,
        wanted=planning.wanted,
        trials=trials,
        words=words,
    )


def _row(planning: Planning, row: PlanRow, chosen: Sequence[Item]) -> dict[str, Any]:
    """A row of an option, with what its words need."""
    forecast = row.forecast(chosen)
    return row_json(planning, row, chosen, forecast) | {
        "use": row.spot.use,
        "qualifier": row.finding.qualifier,
        "may_rise": forecast.may_rise(row),
    }


def _items_facts(rows: Sequence[PlanItem], planning: Planning) -> dict[str, ItemFacts]:
    """Each item by its name."""
    shares = [
        Shares(row, row.attribution.contributions()[0] / row.attribution.field()[:, None])
        for row in planning.rows
        if row.attribution is not None
    ]
    item_of = {item.name: item for item in planning.items}
    return {row.name: _item_facts(row, _reason(item_of[row.name], shares)) for row in rows}


def _item_facts(row: PlanItem, reason: Reason | None) -> ItemFacts:
    return ItemFacts(
        name=row.name,
        kind=row.remedy.name,
        sources=row.source_words(),
        room=row.room.name if row.room else "",
        spots=tuple(spot.name for spot in row.spots.all()),
        done_by=row.remedy.done_by,
        cost=None if row.cost is None else float(row.cost),
        reason=reason,
    )


def _reason(item: Item, shares: Sequence[Shares]) -> Reason | None:
    """The sleeping place, or any place, at which the item's sources make most of the field."""
    reasons = []
    for at_row in shares:
        row = at_row.row
        reached = row.reached(item.sources) if row.measurand in item.measurands else ()
        if not reached:
            continue
        at = [row.names.index(name) for name in reached if name in row.names]
        share = float(np.median(at_row.of_parts[:, at].sum(axis=1)))
        sleeps = row.spot.use == Spot.Use.SLEEPING
        reasons.append((sleeps, abs(share), Reason(*row.place, share)))
    best = max(reasons, key=lambda reason: reason[:2], default=None)
    return best[2] if best is not None and best[1] >= SAME_PLACE else None


def _trial_lines(planning: Planning) -> list[str]:
    """One line for each trial that a row stands on."""
    used = {id(row.trial): row for row in planning.rows if row.trial is not None}
    return [_trial_line(row.trial, row) for row in used.values() if row.trial is not None]


def _trial_line(trial: Trial, row: PlanRow) -> str:
    states = [state for state in trial.states if state not in (ALL_ON, EVERYTHING)]
    words = _("%(place)s, %(quantity)s: %(n)d states read, with %(sources)s switched off in turn")
    return words % {
        "place": spot_name(*row.place[:2]),
        "quantity": measurand_words(row.measurand),
        "n": len(set(trial.states)),
        "sources": ", ".join(row.sources.shown(name) for name in sorted(set().union(*states))),
    }
