"""Page one of the outcome letter: a row for each place, with why and with what is left."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from consult.letters.content import Block, column, table
from consult.letters.formats import NBSP, Formats, display_unit, in_unit, places
from consult.letters.words import phrase
from mitigation.calc.target import MET, MISSED
from mitigation.letters.context import OutcomeContext
from mitigation.letters.phrases import (
    Spot,
    decision_text,
    in_order,
    latest_days,
    other_days,
    place_of,
    side_words,
    spot_key,
)
from mitigation.letters.verdict import decisions_by_place, has_risen
from surveys.letters.order import Place
from surveys.letters.scale import Measured
from surveys.models.measurands import plain_names

MOST_ROWS = 6
"""Above so many rows the places met with certainty become one line."""


@dataclass(frozen=True)
class PlaceRow:
    """Places of one room that share a verdict and its reasons."""

    places: tuple[Place, ...]
    decision: str
    why: str


def place_table(
    spots: Sequence[Spot], context: OutcomeContext, formats: Formats, flux_unit: str
) -> Block:
    """Place, result, and why; met places carry no figures."""
    rows = [
        [places(row.places), decision_text(row.decision), row.why]
        for row in place_rows(spots, context, formats, flux_unit)
    ]
    columns = [
        column(_("Place"), 33),
        column(_("Result"), 17),
        column(_("Why, and what is left"), 50),
    ]
    return table(_("The target at each place"), columns, [("", rows)])


def place_rows(
    spots: Sequence[Spot], context: OutcomeContext, formats: Formats, flux_unit: str
) -> list[PlaceRow]:
    """In the one order of places, sleeping places first."""
    decisions = decisions_by_place(spots)
    reasons: dict[Place, list[str]] = {}
    latest = latest_days(spots)
    names = plain_names(spot["measurand"] for spot in spots)
    for spot in in_order(spots, context.uses()):
        sentences_here = reasons.setdefault(place_of(spot), [])
        sentences_here += _why(spot, names[spot["measurand"]], context, formats, flux_unit)
        if day := other_days(spot, latest, formats):
            sentences_here.append(_("Measured %(days)s.") % {"days": day})
    rows: list[PlaceRow] = []
    for place, sentences in reasons.items():
        decision = decisions[place]
        sentences.append(context.words.remarks.get(place, ""))
        sentences.append(_what_is_left(decision))
        row = PlaceRow((place,), decision, " ".join(filter(None, dict.fromkeys(sentences))))
        before = rows[-1] if rows else None
        if before and _shares(before, row):
            rows[-1] = PlaceRow((*before.places, place), decision, row.why)
        else:
            rows.append(row)
    return _shortened(rows)


def _shares(first: PlaceRow, second: PlaceRow) -> bool:
    same_room = first.places[0][0] == second.places[0][0]
    return same_room and (first.decision, first.why) == (second.decision, second.why)


def _shortened(rows: list[PlaceRow]) -> list[PlaceRow]:
    """Above six rows what is met with certainty, and needs no word, is one row at the end."""
    plain_rows = [row for row in rows if row.decision == "pass" and not row.why]
    if len(rows) <= MOST_ROWS or len(plain_rows) < 2:
        return rows
    other_rows = [row for row in rows if row not in plain_rows]
    together = tuple(place for row in plain_rows for place in row.places)
    return [*other_rows, PlaceRow(together, "pass", "")]


def _why(
    spot: Spot, name: str, context: OutcomeContext, formats: Formats, flux_unit: str
) -> list[str]:
    """Nothing of a quantity that is met, unless its field rose."""
    decision, after = spot["target"]["decision"], spot["after"]
    if decision == "undecided":
        return [f"{name}: {_why_open(spot, context)}."]
    narrow = _why_narrow(spot, context)
    if decision in MET:
        rose = _("%(quantity)s: higher than before, and still in the target range.")
        return [*([rose % {"quantity": name}] if has_risen(spot) else ()), *narrow]
    unit = display_unit(spot["unit"], flux_unit)
    limit = formats.given(in_unit(spot["target"]["limit"], spot["unit"], unit))
    sentence = _("%(quantity)s: %(value)s, and the target is under %(limit)s.") % {
        "quantity": name,
        "value": f"{side_words(after, spot['unit'], flux_unit, formats)}{NBSP}{unit}",
        "limit": f"{limit}{NBSP}{unit}",
    }
    sentences = [sentence, *narrow]
    if has_risen(spot):
        before = f"{side_words(spot['before'], spot['unit'], flux_unit, formats)}{NBSP}{unit}"
        sentences.append(_("Before the work it was %(value)s.") % {"value": before})
    detail = context.details.get(spot_key(spot))
    note = detail.after_reading.note if detail and detail.after_reading else ""
    if note and place_of(spot) not in context.words.remarks:
        sentences.append(_("Noted there: “%(note)s”.") % {"note": note})
    return sentences


def _why_narrow(spot: Spot, context: OutcomeContext) -> list[str]:
    """Why a result is not certain."""
    if spot["target"]["decision"] not in ("conditional-pass", "conditional-fail"):
        return []
    after, detail = spot["after"], context.details.get(spot_key(spot))
    is_partial = not {"one axis", "two axes"}.isdisjoint(after["flags"])
    guard = detail.guard if detail else None
    if is_partial and guard is not None and after["value"] < spot["target"]["limit"] - guard:
        return [_("Not measured on all three axes, so not certain.")]
    return [_("Too close to the limit to be certain.")]


def _why_open(spot: Spot, context: OutcomeContext) -> str:
    """What keeps it from being decided, in the words of a reader without a meter."""
    blocks = spot["blocks"]
    if spot["after"] is None:
        if "different measurand" in blocks:
            return phrase("different measurand")
        return _("not measured again")
    detail = context.details.get(spot_key(spot))
    faults = [block for block in blocks if block.startswith("ground point")]
    if faults:
        return phrase(faults[0])
    if detail and not detail.after_is_certified:
        if "instrument without a certificate" in blocks:
            return _("the meter had no certificate of calibration")
        return _("the calibration of the meter had expired")
    return _("the value is beyond the range of the meter")


def _what_is_left(decision: str) -> str:
    if decision in MISSED:
        return _("We look for the cause and agree the next step with you.")
    if decision == "undecided":
        return _("We measure here again and agree the day with you.")
    return ""


def measured_after(spots: Sequence[Spot], decisions: Collection[str]) -> list[Measured]:
    """The values after the work where the target is decided so."""
    names = plain_names(spot["measurand"] for spot in spots)
    return [
        Measured(
            place_of(spot),
            spot["measurand"],
            names[spot["measurand"]],
            spot["unit"],
            spot["after"]["value"],
            spot["after"]["qualifier"],
            spot["after"]["u"],
            spot["target"]["limit"],
        )
        for spot in spots
        if spot["after"] and spot["target"]["decision"] in decisions
    ]
