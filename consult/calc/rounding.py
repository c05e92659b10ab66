"""How a number is rounded and written; every page and letter prints through here."""

import math
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Context, Decimal

ROUNDING = "rounding-1"

_TWO_FIGURES_UP_TO = 354
"""Up to these three leading digits an uncertainty gets two figures, and one from there to 949."""

VALUE_FIGURES = 3
"""What a number without an uncertainty gets."""

INFINITY = "\u221e"

_NOISE_FIGURES = 12
"""Digits of a float that are taken seriously where an end is rounded outward."""

_FLOAT_FIGURES = 15
"""Digits of a float that can mean anything at all."""

_ROOM = Context(prec=700)  # the longest float, written out


@dataclass(frozen=True)
class Rounded:
    """Digits to print, with "." and "-" only; an empty string where there is nothing to print."""

    value: str
    uncertainty: str


def rounded(
    value: float | None, uncertainty: float | None = None, significant: int = VALUE_FIGURES
) -> Rounded:
    """A value and its expanded uncertainty, both ending at the same decimal place.

    Parameters
    ----------
    value : float or None
        [any unit] None and NaN = missing.
    uncertainty : float or None
        U, expanded. [unit of `value`] Zero or more; None, NaN and 0 = none to give.
    significant : int
        Significant figures of a value without an uncertainty; its whole digits all stay.

    Returns
    -------
    Rounded
        9.996 with 0.12 is "10.00" and "0.12"; 9.96 with 0.97 is "10.0" and "1.0"; 0.3 with 5.2 is
        "0" and "5"; 1234 with 520 is "1200" and "500". Without an uncertainty 9.996 is "10.0",
        4166.67 "4167" and 5 "5.00". An infinite value is the sign for it.

    Raises
    ------
    ValueError
        If the uncertainty is negative or infinite.

    Notes
    -----
    The three leading digits of the uncertainty decide: 100 to 354, two figures; 355 to 949, one;
    950 to 999, up to 1000 and two. Its last place is the place at which the value ends. Halves go
    to the even digit. A negative zero loses its sign.

    References
    ----------
    Particle Data Group, Review of Particle Physics, Introduction, 5.3 (the rule of 354).
    JCGM 100:2008, 7.2.6: at most two significant digits of the uncertainty, and the estimate
    rounded to be consistent with it.
    """
    if uncertainty is not None and (uncertainty < 0.0 or math.isinf(uncertainty)):
        raise ValueError("an uncertainty is finite and not negative")
    if value is None or math.isnan(value):
        return Rounded("", "")
    if math.isinf(value):
        return Rounded(INFINITY if value > 0.0 else f"-{INFINITY}", "")
    exact = _decimal(value)
    if uncertainty is None or math.isnan(uncertainty) or uncertainty == 0.0:
        return Rounded(_text(_to_place(exact, min(_place(exact, significant), 0))), "")
    spread = _decimal(uncertainty)
    place = max(_uncertainty_place(spread), _finest(value))
    return Rounded(_text(_to_place(exact, place)), _text(_to_place(spread, place)))


def rounded_interval(value: float, low: float, high: float) -> tuple[str, str, str]:
    """A value with the two ends of its interval, which never become narrower by rounding.

    Parameters
    ----------
    value, low, high : float
        [any one unit] `low` ≤ `value` ≤ `high`, finite.

    Returns
    -------
    tuple of str
        Value, low and high, all to the place that `rounded` gives to the shorter half of the
        interval; the low end is rounded down, the high end up. An interval without width gets
        the figures of a value without an uncertainty.

    Raises
    ------
    ValueError
        If the three are not finite and in order.

    References
    ----------
    As `rounded`. Outward rounding of the ends is a choice of this project, so that a
    printed interval holds whatever the computed one held.
    """
    if not (math.isfinite(low) and math.isfinite(high) and low <= value <= high):
        raise ValueError("an interval is finite and holds its value")
    middle, bottom, top = _decimal(value), _quiet(low), _quiet(high)
    halves = [half for half in (value - low, high - value) if half > 0.0]
    if halves:
        place = _uncertainty_place(_quiet(min(halves)))
        place = max(place, _finest(max(abs(low), abs(high)), _NOISE_FIGURES))
    else:
        place = min(_place(middle, VALUE_FIGURES), 0)
    return (
        _text(_to_place(middle, place)),
        _text(_to_place(bottom, place, ROUND_FLOOR)),
        _text(_to_place(top, place, ROUND_CEILING)),
    )


def as_given(value: float) -> str:
    """A number that somebody chose, such as a limit or a setting: all its digits, no more.

    Parameters
    ----------
    value : float
        [any unit] Finite.

    Returns
    -------
    str
        5.0 is "5", 0.3 is "0.3".

    Raises
    ------
    ValueError
        If the value is not finite.

    References
    ----------
    A choice of this project.
    """
    _refuse_infinite(value)
    exact = _quiet(value)
    digits = _text(exact)
    return digits.rstrip("0").rstrip(".") if "." in digits else digits


def rounded_down(value: float, decimals: int) -> str:
    """A number that may claim too little but not too much, as after "at least".

    Parameters
    ----------
    value : float
        [any unit] Finite.
    decimals : int
        Digits after the decimal mark, zero or more.

    Returns
    -------
    str
        89.96 to one decimal is "89.9".

    Raises
    ------
    ValueError
        If the value is not finite.

    References
    ----------
    A choice of this project.
    """
    _refuse_infinite(value)
    return _text(_to_place(_quiet(value), -decimals, ROUND_FLOOR))


def rounded_bound(value: float, *, up: bool) -> str:
    """A bound to the figures of a value without an uncertainty, so that it stays true.

    Parameters
    ----------
    value : float
        [any unit] Finite.
    up : bool
        True of an upper bound, which is rounded up; a lower one is rounded down.

    Returns
    -------
    str
        Without idle zeros: "> 317.76" is printed "> 317", "< 0.2996" as "< 0.3".

    Raises
    ------
    ValueError
        If the value is not finite.

    References
    ----------
    A choice of this project.
    """
    _refuse_infinite(value)
    exact = _quiet(value)
    place = min(_place(exact, VALUE_FIGURES), 0)
    digits = _text(_to_place(exact, place, ROUND_CEILING if up else ROUND_FLOOR))
    return digits.rstrip("0").rstrip(".") if "." in digits else digits


def localised(
    digits: str,
    decimal: str = ".",
    group: str = ",",
    minus: str = "-",
    group_from: int = 5,
) -> str:
    """Digits as a reader of some language writes them.

    Parameters
    ----------
    digits : str
        From the functions above: digits with at most one "." and a leading "-", a sign, or empty.
    decimal, group, minus : str
        The marks to write.
    group_from : int
        Whole numbers of fewer digits are not grouped. Four digits stay whole by default: 4,167
        in one language is a number between 4 and 5 in another.

    Returns
    -------
    str
        "-12345.6" is "-12,345.6", or "−12.345,6" with the marks of German print.
    """
    sign, bare = (minus, digits[1:]) if digits.startswith("-") else ("", digits)
    whole, point, rest = bare.partition(".")
    if whole.isdigit() and len(whole) >= group_from:
        whole = f"{int(whole):,}".replace(",", group)
    return sign + whole + (decimal + rest if point else "")


def _refuse_infinite(value: float) -> None:
    """ValueError for what has no digits."""
    if not math.isfinite(value):
        raise ValueError("only a finite number has digits")


def _decimal(value: float) -> Decimal:
    """The shortest decimal that is this float: what a person would say it is."""
    return Decimal(repr(float(value)))


def _quiet(value: float) -> Decimal:
    """The same without the last bits, so that 94.00000000000001 does not round up to 94.1."""
    exact = _decimal(value)
    return _to_place(exact, _place(exact, _NOISE_FIGURES)) if exact else exact


def _finest(value: float, figures: int = _FLOAT_FIGURES) -> int:
    """The finest place at which a float of this size says anything."""
    return _decimal(value).adjusted() - figures + 1 if value else -_ROOM.prec // 2


def _uncertainty_place(spread: Decimal) -> int:
    """Power of ten at which an uncertainty ends, by the rule of 354."""
    leading = int(spread.scaleb(2 - spread.adjusted()))
    return spread.adjusted() - (1 if leading <= _TWO_FIGURES_UP_TO else 0)


def _place(number: Decimal, figures: int) -> int:
    """Power of ten of the last of so many significant figures, after a carry."""
    if not number:
        return 0
    place = number.adjusted() - figures + 1
    return _to_place(number, place).adjusted() - figures + 1


def _to_place(number: Decimal, place: int, rounding: str = ROUND_HALF_EVEN) -> Decimal:
    """The number ending at this power of ten."""
    return number.quantize(Decimal(1).scaleb(place), rounding, _ROOM)


def _text(number: Decimal) -> str:
    """Plain digits, without an exponent and without a sign before zero."""
    return f"{number if number else abs(number):f}"
