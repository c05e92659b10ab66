"""What an offered plan tells, gathered from the rows and the rules of planning."""

from collections.abc import Sequence
from datetime import date
from typing import Any

import numpy as np
from django.utils.translation import gettext as _
from django.utils.translation import override

from consult.letters.content import MILLIGAUSS_COUNTRIES
from consult.letters.words import spot_name
from consult.models import current_practice
from mitigation.letters.plan_facts import ItemFacts, OfferFacts, OptionFacts, Reason
from mitigation.letters.plan_words import SAME_PLACE
from mitigation.models import PlanItem
from mitigation.planning.items import Item
from mitigation.planning.plans import RULES, Planning, row_json
from mitigation.planning.rows import PlanRow
from mitigation.planning.trials import ALL_ON, EVERYTHING, Trial
from surveys.letters.order import Standing, places_in_order
from surveys.models.measurands import measurand_words
from surveys.services import facts

MOST_OPTIONS = 3


def offer_facts(
    *,
    planning: Planning,
    items: Sequence[PlanItem],
    options: Sequence[Sequence[str]],
    number: int,
    valid_until: date,
    may_be_parted: bool,
    words: str,
) -> OfferFacts:
    """The facts of a version; `options` name the items of each."""
    case = planning.case
    practice, home = current_practice(), case.property
    row_of = {item.name: item for item in items}
    language = home.client.language
    with override(language):
        trials = tuple(_trial_lines(planning))
        sets = tuple(
            OptionFacts(
                letter=letter,
                items=tuple(_item_facts(row_of[name], planning) for name in names),
                rows=tuple(_rows(planning, planning.named(names))),
            )
            for letter, names in zip("ABC", options, strict=False)
        )
    english = language.startswith("en")
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
        flux_unit="mG" if english and home.country in MILLIGAUSS_COUNTRIES else "nT",
        rules=RULES,
        wanted=planning.wanted,
        trials=trials,
        words=words,
    )


def _rows(planning: Planning, chosen: Sequence[Item]) -> list[dict[str, Any]]:
    """The rows of an option in the one order of places, with what their words need."""
    rank = places_in_order(
        Standing(row.place[:2], row.spot.use, row.finding.value, _limit(row))
        for row in planning.rows
    )
    rows = []
    for row in sorted(planning.rows, key=lambda row: rank[row.place[:2]]):
        forecast = row.forecast(chosen)
        rows.append(
            row_json(planning, row, chosen)
            | {
                "use": row.spot.use,
                "qualifier": row.finding.qualifier,
                "may_rise": forecast.may_rise(row),
            }
        )
    return rows


def _limit(row: PlanRow) -> float | None:
    return None if np.isnan(row.limit) else row.limit


def _item_facts(row: PlanItem, planning: Planning) -> ItemFacts:
    item = next(item for item in planning.items if item.name == row.name)
    circuits = [
        f"{circuit.name} ({circuit.label})" if circuit.label else circuit.name
        for circuit in row.circuits.all()
    ]
    return ItemFacts(
        name=row.name,
        key=row.remedy.key,
        kind=row.remedy.name,
        sources=(*circuits, *(appliance.name for appliance in row.appliances.all())),
        room=row.room.name if row.room else "",
        spots=tuple(spot.name for spot in row.spots.all()),
        done_by=row.remedy.done_by,
        cost=None if row.cost is None else float(row.cost),
        instructions=row.remedy.instructions,
        reason=_reason(item, planning),
    )


def _reason(item: Item, planning: Planning) -> Reason | None:
    """The sleeping place, or any place, at which the item's sources make most of the field."""
    reasons = []
    for row in planning.rows:
        if row.attribution is None or row.measurand not in item.measurands:
            continue
        reached = row.reached(item.sources)
        if not reached:
            continue
        parts, _outside = row.attribution.contributions()
        at = [row.names.index(name) for name in reached if name in row.names]
        share = float(np.median(parts[:, at].sum(axis=1) / row.attribution.field()))
        sleeps = row.spot.use == "sleeping"
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
