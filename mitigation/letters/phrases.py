"""How a comparison is put into words and into the picture: for letters and pages alike."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import Any

from django.utils.translation import gettext as _

from consult.calc.rounding import rounded_down, rounded_interval
from consult.letters.charts import Chart, PictureRow, Point
from consult.letters.formats import MINUS, Formats, display_unit, in_unit
from consult.letters.words import MARKS, band_words, decision_words, short_decision_words
from surveys.letters.facts import GuidelineFacts, SpotKey
from surveys.letters.order import Place, Standing, by_measurand, places_in_order
from surveys.models import Measurand
from surveys.models.measurands import measurand_words

Side = Mapping[str, Any]
Spot = Mapping[str, Any]
ROWS_PER_PANEL = 18


def spot_key(spot: Spot) -> SpotKey:
    return spot["room"], spot["spot"], spot["measurand"]


def place_of(spot: Spot) -> Place:
    return spot["room"], spot["spot"]


def decision_text(code: str) -> str:
    """Short words first, then a mark that also works in black and white."""
    return f"{short_decision_words(code)} {MARKS[code]}"


def reduction_words(spot: Spot, formats: Formats) -> tuple[str, str]:
    """The figure and its interval, as "95.0 %" and "(94.0 to 95.9)"; "at least 90 %" alone."""
    reduction = spot["reduction"]
    if not spot["comparable"]:
        return _("no comparison"), ""
    if reduction is None:
        return _("no figure"), ""
    if reduction["at_least"]:
        return _at_least(reduction, formats), ""
    percent, low, high = (reduction[key] for key in ("percent", "percent_low", "percent_high"))
    if percent < 0:
        digits = rounded_interval(-percent, -high, -low)
        figure = _("rose by %(percent)s") % {"percent": formats.percent(digits[0])}
    else:
        digits = rounded_interval(percent, low, high)
        figure = formats.percent(digits[0])
    ends = {"low": formats.number(digits[1]), "high": formats.number(digits[2])}
    if reduction["real"]:
        return figure, _("(%(low)s to %(high)s)") % ends
    return figure, _("(%(low)s to %(high)s), not certain") % ends


def _at_least(reduction: Mapping[str, Any], formats: Formats) -> str:
    """Only the end nearer to 0 is printed: the figure may claim too little, never too much."""
    if reduction["percent"] < 0:
        return _rose_at_least(reduction, formats)
    low = reduction["percent_low"]
    if low <= 0:
        return _("no certain reduction")
    digits = rounded_down(low, 0 if low < 99 else 2)
    return _("at least %(percent)s") % {"percent": formats.percent(digits)}


def _rose_at_least(reduction: Mapping[str, Any], formats: Formats) -> str:
    """A rise that is a bound: how many times what it was, or by how much of it."""
    high = reduction["percent_high"]
    if high >= 0:
        return _("no certain rise")
    if high > -100:
        percent = formats.percent(rounded_down(-high, 0))
        return _("rose by at least %(percent)s") % {"percent": percent}
    times = 1 - high / 100
    digits = rounded_down(times, 1 if times < 10 else 0)
    return _("rose, at least %(times)s-fold") % {"times": formats.number(digits)}


def decibel_words(spot: Spot, formats: Formats) -> str:
    reduction = spot["reduction"]
    if not spot["comparable"] or reduction is None:
        return "–"
    if reduction["at_least"] and reduction["percent"] < 0:
        rise = formats.number(rounded_down(-reduction["db_high"], 1))
        return _("at most %(decibel)s") % {"decibel": f"{MINUS}{rise}"}
    if reduction["at_least"]:
        decibel = formats.number(rounded_down(reduction["db_low"], 1))
        return _("at least %(percent)s") % {"percent": decibel}
    digits = rounded_interval(reduction["db"], reduction["db_low"], reduction["db_high"])
    value, low, high = (formats.number(part) for part in digits)
    return f"{value} " + _("(%(low)s to %(high)s)") % {"low": low, "high": high}


def side_words(side: Side | None, unit: str, flux_unit: str, formats: Formats) -> str:
    """A value as the client reads it, without its unit; a dash where nothing was measured."""
    if side is None:
        return "–"
    shown = display_unit(unit, flux_unit)
    u = None if side["u"] is None else in_unit(side["u"], unit, shown)
    return formats.value(in_unit(side["value"], unit, shown), side["qualifier"], u)


def point(side: Side | None, unit: str, flux_unit: str) -> Point | None:
    """A value with the ends of its interval for the picture."""
    if side is None:
        return None
    shown = display_unit(unit, flux_unit)
    value, lower = side["value"], side["lower"]
    spread = 2.0 * (side["u"] or 0.0)
    low, high = (lower, value) if side["qualifier"] else (value - spread, value + spread)
    return Point(
        value=in_unit(value, unit, shown),
        low=max(in_unit(low, unit, shown), 0.0),
        high=in_unit(high, unit, shown),
        qualifier=side["qualifier"],
    )


def sleeping_places(uses: Mapping[SpotKey, str]) -> frozenset[Place]:
    """Where somebody sleeps."""
    return frozenset((room, spot) for (room, spot, _), use in uses.items() if use == "sleeping")


def in_order(spots: Sequence[Spot], uses: Mapping[SpotKey, str]) -> list[Spot]:
    """All rows of a comparison in the one order of their places.

    Where nothing has been measured again the values before say what is worst.
    """
    judged = "after" if any(spot["after"] for spot in spots) else "before"
    rank = places_in_order(
        Standing(
            place_of(spot),
            uses.get(spot_key(spot), "other"),
            spot[judged]["value"] if spot[judged] else None,
            spot["target"]["limit"],
        )
        for spot in spots
    )
    number = {code.value: at for at, code in enumerate(Measurand)}
    return sorted(spots, key=lambda spot: (rank[place_of(spot)], number[spot["measurand"]]))


def latest_days(spots: Iterable[Spot]) -> dict[str, str]:
    """The latest day of each side, as it is kept."""
    latest = {"before": "", "after": ""}
    for spot in spots:
        for side in latest:
            latest[side] = max(latest[side], spot.get(f"{side}_on") or "")
    return latest


def other_days(spot: Spot, latest: Mapping[str, str], formats: Formats) -> str:
    """The days of the sides that are not of the latest visit of their kind."""
    words = {"before": _("before: %(day)s"), "after": _("after: %(day)s")}
    days = []
    for side, sentence in words.items():
        day = spot.get(f"{side}_on")
        if day and day != latest[side]:
            days.append(sentence % {"day": formats.day(date.fromisoformat(day))})
    return ", ".join(days)


def by_code(spots: Iterable[Spot]) -> dict[str, list[Spot]]:
    """The spots of each measurand, in the order in which measurands are named."""
    return by_measurand(spots, lambda spot: str(spot["measurand"]))


def charts(
    outcome: Mapping[str, Any],
    uses: Mapping[SpotKey, str],
    guideline: GuidelineFacts,
    formats: Formats,
    flux_unit: str = "nT",
) -> list[Chart]:
    """The picture of a comparison: a chart per measurand, long ones in pieces."""
    drawn = []
    latest = latest_days(outcome["spots"])
    for code, spots in by_code(in_order(outcome["spots"], uses)).items():
        for start in range(0, len(spots), ROWS_PER_PANEL):
            chunk = spots[start : start + ROWS_PER_PANEL]
            rows = tuple(_row(spot, uses, latest, flux_unit, formats) for spot in chunk)
            drawn.append(_chart(code, chunk[0], rows, guideline, formats, flux_unit))
    return drawn


def _chart(
    code: str,
    sample: Spot,
    rows: tuple[PictureRow, ...],
    guideline: GuidelineFacts,
    formats: Formats,
    flux_unit: str,
) -> Chart:
    unit = sample["unit"]
    shown = display_unit(unit, flux_unit)
    first, second, third = (in_unit(bound, unit, shown) for bound in guideline.bounds[code])
    limit = in_unit(sample["target"]["limit"], unit, shown)
    return Chart(
        name=measurand_words(code),
        unit=shown,
        bounds=(first, second, third),
        band_words=band_words(guideline.band_words),
        limit=limit,
        limit_text=f"{formats.given(limit)} {shown}",
        rows=rows,
        identifier=code,
    )


def _row(
    spot: Spot,
    uses: Mapping[SpotKey, str],
    latest: Mapping[str, str],
    flux_unit: str,
    formats: Formats,
) -> PictureRow:
    figure, interval = reduction_words(spot, formats)
    reduction = spot["reduction"]
    values = [
        side_words(spot[side], spot["unit"], flux_unit, formats) for side in ("before", "after")
    ]
    verdict = short_decision_words(spot["target"]["decision"])
    return PictureRow(
        spot=spot["spot"],
        room=spot["room"],
        sleeping=uses.get(spot_key(spot), "other") == "sleeping",
        before=point(spot["before"], spot["unit"], flux_unit),
        after=point(spot["after"], spot["unit"], flux_unit),
        reduction=figure,
        interval=interval,
        rose=bool(reduction) and reduction["percent"] < 0,
        at_least=bool(reduction) and reduction["at_least"],
        comparable=spot["comparable"],
        decision=decision_words(spot["target"]["decision"]),
        figures=f"{' → '.join(values)} · {verdict}",
        days=other_days(spot, latest, formats),
    )
