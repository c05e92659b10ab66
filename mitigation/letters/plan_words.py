"""An offered plan in plain words, in the active language: what, where, why, what to expect."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop, ngettext

from consult.letters.charts import Chart, PictureRow, Point
from consult.letters.countries import in_trade_words
from consult.letters.formats import NBSP, Formats, display_unit, in_unit, listing, places
from consult.letters.words import band_words, spot_name
from mitigation.letters.money import money_words
from mitigation.letters.plan_facts import ItemFacts, OfferFacts, OptionFacts, Reason
from mitigation.letters.remedy_words import place_words, remedy_name
from mitigation.planning.rows import FAULTY_GROUND, OUT_OF_RANGE
from surveys.letters.order import Place, by_measurand
from surveys.models.measurands import measurand_words, plain_names

ROWS_OF_A_CHART = 18
SAME_PLACE = 0.1
"""A source that makes less than this share of a field is no reason for an item."""

WHO = {
    "electrician": gettext_noop("a licensed electrician"),
    "anybody": gettext_noop("anybody; bonding by a licensed electrician"),
    "client": gettext_noop("you"),
}
_CHANCES = (
    (0.99, gettext_noop("almost certainly in the target range")),
    (0.9, gettext_noop("very likely in the target range")),
    (0.66, gettext_noop("probably in the target range")),
    (0.33, gettext_noop("perhaps in the target range")),
    (0.0, gettext_noop("probably not in the target range")),
)
_UNKNOWN = {
    OUT_OF_RANGE: gettext_noop("the value before was beyond the range of the meter"),
    FAULTY_GROUND: gettext_noop("the ground point of the survey was faulty"),
}


def option_content(option: OptionFacts, offer: OfferFacts, formats: Formats) -> dict[str, Any]:
    """Everything that page and letter print of one option."""
    return {
        "letter": option.letter,
        "title": _("Option %(letter)s") % {"letter": option.letter},
        "items": [item_content(item, offer, formats) for item in option.items],
        "cost": option.cost,
        "cost_words": total_words(option, offer, formats),
        "lead": lead_words(option),
        "places": [place_content(row, offer, formats) for row in changed_rows(option)],
        "as_before": as_before_words(option),
        "failing": failing_words(option),
        "charts": [asdict(chart) for chart in option_charts(option, offer, formats)],
    }


def changed_rows(option: OptionFacts) -> list[dict[str, Any]]:
    """The rows that the option changes, or of which nobody can know."""
    return [row for row in option.rows if row["basis"] != "none" or row["unknown"]]


def as_before_words(option: OptionFacts) -> list[str]:
    """What the option leaves as it is, in the target range and above it."""
    within: dict[str, list[Place]] = {}
    above: dict[str, list[Place]] = {}
    for row in option.rows:
        if row["basis"] != "none" or row["unknown"] or row["limit"] is None:
            continue
        group = within if row["before"] < row["limit"] else above
        group.setdefault(row["measurand"], []).append((row["room"], row["spot"]))
    sentences = [
        _("As before, and in the target range: %(what)s.") % {"what": _by_quantity(within)}
    ] if within else []  # fmt: skip
    if above:
        words = _("As before, and above the target range: %(what)s.")
        sentences.append(words % {"what": _by_quantity(above)})
    return sentences


def _by_quantity(groups: Mapping[str, Sequence[Place]]) -> str:
    names = plain_names(groups)
    return "; ".join(f"{names[code]}, {places(spots)}" for code, spots in groups.items())


def failing_words(option: OptionFacts) -> str:
    """How sure it is at the least certain place, counting that a device may fail."""
    chances = [
        row["predicted"]["overall"]
        for row in changed_rows(option)
        if row["predicted"] and row["predicted"]["overall"] is not None
    ]
    if not chances:
        return ""
    words = _(
        "“How sure” holds if everything works as it should. Counting that a device may fail, it is "
        "%(overall)s at the least certain place."
    )
    return words % {"overall": of_hundred(min(chances))}


def item_content(item: ItemFacts, offer: OfferFacts, formats: Formats) -> dict[str, Any]:
    done_by = in_trade_words(_(WHO[item.done_by]), offer.country)
    return {
        "name": item.name,
        "what": remedy_name(item.kind),
        "where": where_words(item),
        "why": reason_words(item.reason, formats) if item.reason else "",
        "who": done_by,
        "cost": item.cost,
        "cost_words": price_words(item.cost, offer.currency, formats),
    }


def where_words(item: ItemFacts) -> str:
    """The sources it acts on, or the spots of a room, or all of a room."""
    if item.sources:
        return listing(list(item.sources))
    return place_words(item.room, item.spots) or _("the whole home")


def reason_words(reason: Reason, formats: Formats) -> str:
    """What it acts on makes of the field at the place where that is most."""
    quantity = measurand_words(reason.measurand)
    place = spot_name(reason.room, reason.spot)
    if reason.share < 0:
        words = _("It cancels a part of other sources at %(place)s (%(quantity)s).")
        return words % {"place": place, "quantity": quantity}
    if reason.share > 1:
        words = _(
            "It is the strongest source at %(place)s (%(quantity)s); others cancel some of it."
        )
        return words % {"place": place, "quantity": quantity}
    percent = formats.percent(f"{100 * reason.share:.0f}")
    words = _("It makes about %(percent)s of the %(quantity)s at %(place)s.")
    return words % {"percent": percent, "quantity": quantity, "place": place}


def price_words(cost: float | None, currency: str, formats: Formats) -> str:
    if cost is None:
        return money_words(None, formats)
    return f"{money_words(cost, formats)}{NBSP}{currency}"


def total_words(option: OptionFacts, offer: OfferFacts, formats: Formats) -> str:
    """The sum, and that some prices are still to be named."""
    total = price_words(option.cost, offer.currency, formats)
    unpriced = sum(item.cost is None for item in option.items)
    if not unpriced:
        return total
    words = ngettext(
        "%(total)s, and %(n)d item on request", "%(total)s, and %(n)d items on request", unpriced
    )
    return words % {"total": total, "n": unpriced}


def lead_words(option: OptionFacts) -> str:
    """What the client waits for: at how many of the beds the target will very likely be met."""
    beds: dict[tuple[str, str], float] = {}
    for row in option.rows:
        if row["use"] != "sleeping" or row["limit"] is None:
            continue
        place = row["room"], row["spot"]
        predicted = row["predicted"]
        chance = predicted["probability"] if predicted else -1.0
        beds[place] = min(beds.get(place, 1.0), chance)
    if not beds:
        return _("No sleeping place was measured; see each place below.")
    likely = sum(chance >= 0.9 for chance in beds.values())
    numbers = {"total": len(beds), "count": likely}
    if likely == len(beds):
        return ngettext(
            "The place where you sleep will very likely be in the target range.",
            "All %(total)d places where you sleep will very likely be in the target range.",
            len(beds),
        ) % numbers  # fmt: skip
    if not likely:
        return ngettext(
            "The place where you sleep will not surely be in the target range.",
            "None of the %(total)d places where you sleep will surely be in the target range.",
            len(beds),
        ) % numbers  # fmt: skip
    return _(
        "Of %(total)d places where you sleep, %(count)d will very likely be in the target range."
    ) % numbers  # fmt: skip


def place_content(row: Mapping[str, Any], offer: OfferFacts, formats: Formats) -> dict[str, Any]:
    """One spot and quantity: before, what to expect, and how sure that is."""
    unit = display_unit(row["unit"], offer.flux_unit)

    def shown(value: float) -> str:
        return formats.quantity(float(f"{in_unit(value, row['unit'], unit):.3g}"), unit)

    predicted = row["predicted"]
    content = {
        "place": spot_name(row["room"], row["spot"]),
        "quantity": plain_names([row["measurand"]])[row["measurand"]],
        "before": f"{row['qualifier']}{NBSP if row['qualifier'] else ''}{shown(row['before'])}",
    }
    if predicted is None:
        reasons = "; ".join(unknown_words(reason) for reason in row["unknown"])
        return content | {"after": _("not known"), "words": reasons, "chance": "", "overall": ""}
    between = _("about %(median)s (between %(low)s and %(high)s)") % {
        "median": shown(predicted["median"]),
        "low": shown(predicted["low"]),
        "high": shown(predicted["high"]),
    }
    if row["qualifier"] in ("<", "≤"):
        between = _("at most %(value)s") % {"value": between}
    if row["basis"] == "none":
        between = _("as before")
    return content | {
        "after": between,
        "words": chance_words(predicted["probability"], may_rise=row["may_rise"]),
        "chance": of_hundred(predicted["probability"]),
        "overall": of_hundred(predicted["overall"]),
    }


def unknown_words(reason: str) -> str:
    """Why nothing can be foretold, for somebody without a meter."""
    if reason in _UNKNOWN:
        return _(_UNKNOWN[reason])
    return _("not measured well enough to foretell it")


def chance_words(probability: float | None, *, may_rise: bool) -> str:
    if probability is None:
        return ""
    words = next(_(text) for least, text in _CHANCES if probability >= least)
    return f"{words}; {_('the field may rise here')}" if may_rise else words


def of_hundred(probability: float | None) -> str:
    """A probability as a client counts: so many times of a hundred, never all and never none."""
    if probability is None:
        return ""
    times = min(max(round(100 * probability), 1), 99)
    return _("%(times)d of 100") % {"times": times}


def option_charts(option: OptionFacts, offer: OfferFacts, formats: Formats) -> list[Chart]:
    """The picture: measured before, foretold after, a chart per quantity."""
    charts = []
    changed = {row["measurand"] for row in changed_rows(option)}
    known = [row for row in option.rows if row["limit"] is not None and row["measurand"] in changed]
    for code, rows in by_measurand(known, lambda row: str(row["measurand"])).items():
        unit = display_unit(rows[0]["unit"], offer.flux_unit)
        canonical = rows[0]["unit"]
        first, second, third = (
            in_unit(bound, canonical, unit) for bound in offer.guideline.bounds[code]
        )
        limit = in_unit(rows[0]["limit"], canonical, unit)
        for start in range(0, len(rows), ROWS_OF_A_CHART):
            chunk = rows[start : start + ROWS_OF_A_CHART]
            charts.append(
                Chart(
                    name=measurand_words(code),
                    unit=unit,
                    bounds=(first, second, third),
                    band_words=band_words(offer.guideline.band_words),
                    limit=limit,
                    limit_text=f"{formats.given(limit)} {unit}",
                    rows=tuple(_picture_row(row, offer, formats) for row in chunk),
                    identifier=f"{option.letter}-{code}",
                )
            )
    return charts


def _picture_row(row: Mapping[str, Any], offer: OfferFacts, formats: Formats) -> PictureRow:
    unit = display_unit(row["unit"], offer.flux_unit)
    place = place_content(row, offer, formats)
    predicted = row["predicted"]
    before = in_unit(row["before"], row["unit"], unit)
    after = None
    if predicted is not None:
        median, low, high = (
            in_unit(predicted[name], row["unit"], unit) for name in ("median", "low", "high")
        )
        after = Point(value=median, low=low, high=high)
    return PictureRow(
        spot=row["spot"],
        room=row["room"],
        sleeping=row["use"] == "sleeping",
        before=Point(value=before, low=before, high=before, qualifier=row["qualifier"]),
        after=after,
        reduction=place["chance"],
        rose=row["may_rise"],
    )
