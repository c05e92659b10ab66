"""The one rounding: table of cases, against another program, and what must hold for any number."""

import math
from decimal import Decimal

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from uncertainties import ufloat

from consult.calc.rounding import (
    ROUNDING,
    Rounded,
    as_given,
    localised,
    rounded,
    rounded_down,
    rounded_interval,
)


def test_identifier() -> None:
    assert ROUNDING == "rounding-1"


# Particle Data Group, Review of Particle Physics, Introduction 5.3 (from memory): 0.827 ± 0.119
# is 0.83 ± 0.12, and 0.827 ± 0.367 is 0.8 ± 0.4. The documentation of the package uncertainties
# gives the same two.
@pytest.mark.parametrize(
    ("value", "uncertainty", "expected"),
    [
        (0.827, 0.119, ("0.83", "0.12")),
        (0.827, 0.367, ("0.8", "0.4")),
        # each end of the rule
        (1.0, 0.100, ("1.00", "0.10")),
        (1.0, 0.354, ("1.00", "0.35")),
        (1.0, 0.3549, ("1.00", "0.35")),
        (1.0, 0.355, ("1.0", "0.4")),
        (1.0, 0.949, ("1.0", "0.9")),
        (1.0, 0.950, ("1.0", "1.0")),
        (1.0, 0.999, ("1.0", "1.0")),
        # carry
        (9.96, 0.97, ("10.0", "1.0")),
        (9.96, 0.4, ("10.0", "0.4")),
        (9.996, 0.12, ("10.00", "0.12")),
        (99.96, 0.0996, ("99.96", "0.10")),
        # an uncertainty above the value
        (0.3, 5.2, ("0", "5")),
        (0.3, 1.2, ("0.3", "1.2")),
        (7.0, 52.0, ("10", "50")),
        # whole digits
        (1234.0, 520.0, ("1200", "500")),
        (1234.0, 120.0, ("1230", "120")),
        (123456.0, 6000.0, ("123000", "6000")),
        # zero, and next to it
        (0.0, 0.5, ("0.0", "0.5")),
        (-0.001, 0.5, ("0.0", "0.5")),
        (-9.96, 0.97, ("-10.0", "1.0")),
        # halves go to the even digit
        (0.125, 0.12, ("0.12", "0.12")),
        (0.135, 0.12, ("0.14", "0.12")),
        (2.5, 6.0, ("2", "6")),
        # nothing to tell of an uncertainty
        (48.0, 0.0, ("48.0", "")),
        (48.0, None, ("48.0", "")),
        (48.0, math.nan, ("48.0", "")),
        (9.996, None, ("10.0", "")),
        (4166.666666666667, None, ("4167", "")),
        (123456.0, None, ("123456", "")),
        (0.0, None, ("0", "")),
        (0.00012345, None, ("0.000123", "")),
        # nothing at all
        (None, None, ("", "")),
        (None, 0.5, ("", "")),
        (math.nan, 0.5, ("", "")),
        (math.inf, None, ("\u221e", "")),
        (-math.inf, 0.5, ("-\u221e", "")),
    ],
)
def test_cases(value: float | None, uncertainty: float | None, expected: tuple[str, str]) -> None:
    assert rounded(value, uncertainty) == Rounded(*expected)


def test_estimates_of_the_guide() -> None:
    """JCGM 100:2008, 7.2.6: 10.05762 ohm with 27 milliohm is 10.058 ohm; 28.05 rounds to 28."""
    assert rounded(10.05762, 0.027) == Rounded("10.058", "0.027")
    assert rounded(100.0, 28.05).uncertainty == "28"


@pytest.mark.parametrize("uncertainty", [-0.1, math.inf])
def test_what_is_no_uncertainty_is_refused(uncertainty: float) -> None:
    with pytest.raises(ValueError, match="uncertainty"):
        rounded(1.0, uncertainty)


@given(
    st.decimals("-9999", "9999", places=4).map(float),
    st.decimals("0.0011", "9999", places=4).map(float),
)
def test_against_another_program(value: float, uncertainty: float) -> None:
    """The package uncertainties rounds by the same rule.

    It rounds halves of the binary number, we those of the decimal one, so numbers that are a half
    are left out. It is asked for powers of ten, since its plain form never rounds whole digits.
    """
    ours = rounded(value, uncertainty)
    printed, _, power = f"{ufloat(value, uncertainty):e}".partition("e")
    theirs = [Decimal(text).scaleb(int(power)) for text in printed.strip("()").split("+/-")]
    place = theirs[1].as_tuple().exponent
    assert isinstance(place, int)
    for number in (value, uncertainty):
        assume(abs(_decimal(number).scaleb(-place) % 1) != Decimal("0.5"))
    assert Decimal(ours.uncertainty) == theirs[1]
    assert Decimal(ours.value) == theirs[0]


def _decimal(number: float) -> Decimal:
    return Decimal(repr(number))


@given(st.floats(-1e6, 1e6), st.floats(1e-6, 1e6))
def test_what_is_printed_is_near_what_was_computed(value: float, uncertainty: float) -> None:
    """By 1/3.55 / 2 of the uncertainty at most, and both end at the same place."""
    found = rounded(value, uncertainty)
    assert abs(float(found.value) - value) <= uncertainty * 0.5 / 3.55 + 1e-9
    assert abs(float(found.uncertainty) - uncertainty) <= uncertainty * 0.5 / 3.55 + 1e-9
    assert len(found.value.partition(".")[2]) == len(found.uncertainty.partition(".")[2])
    assert "e" not in found.value.lower()
    assert found.value not in ("-0", "-0.0", "-0.00")


@given(st.floats(allow_nan=True, allow_infinity=True), st.floats(0.0, allow_infinity=False))
def test_no_number_is_too_odd(value: float, uncertainty: float) -> None:
    found = rounded(value, uncertainty)
    assert set(found.value) <= set("-.0123456789\u221e")
    assert set(found.uncertainty) <= set(".0123456789")


@pytest.mark.parametrize(
    ("interval", "expected"),
    [
        ((95.0, 94.0, 95.9), ("95.0", "94.0", "95.9")),
        ((95.0, 93.97, 95.91), ("95.0", "93.9", "96.0")),
        ((94.0, 93.00000000000001, 94.99999999999999), ("94.0", "93.0", "95.0")),
        ((50.4, 46.4, 54.4), ("50", "46", "55")),
        ((-900.0, -1300.0, -700.0), ("-900", "-1300", "-700")),
        ((99.95, 99.94, 99.97), ("99.950", "99.940", "99.970")),
        ((0.0, -10.0, 10.0), ("0", "-10", "10")),
        ((0.0, -50.0, 30.0), ("0", "-50", "30")),
        ((50.0, 50.0, 50.0), ("50.0", "50.0", "50.0")),
        ((0.0, 0.0, 0.0), ("0", "0", "0")),
    ],
)
def test_intervals(interval: tuple[float, float, float], expected: tuple[str, str, str]) -> None:
    assert rounded_interval(*interval) == expected


@pytest.mark.parametrize("interval", [(1.0, 2.0, 3.0), (1.0, 0.0, math.inf), (math.nan, 0.0, 1.0)])
def test_what_is_no_interval_is_refused(interval: tuple[float, float, float]) -> None:
    with pytest.raises(ValueError, match="interval"):
        rounded_interval(*interval)


@given(st.floats(-1e4, 1e4), st.floats(1e-3, 1e3), st.floats(1e-3, 1e3))
def test_an_interval_never_becomes_narrower(value: float, down: float, up: float) -> None:
    low, high = value - down, value + up
    middle, bottom, top = (Decimal(text) for text in rounded_interval(value, low, high))
    assert bottom <= middle <= top
    # to the twelve digits of a float that are taken seriously
    assert float(bottom) <= low + 1e-11 * abs(low)
    assert float(top) >= high - 1e-11 * abs(high)


@pytest.mark.parametrize(
    ("value", "decimals", "expected"),
    [
        (89.96, 1, "89.9"),
        (90.0, 1, "90.0"),
        (89.99999999999999, 1, "90.0"),  # rounding, and no claim of more
        (99.99, 0, "99"),
        (0.04, 1, "0.0"),
        (-0.04, 1, "-0.1"),
    ],
)
def test_at_least_never_claims_more(value: float, decimals: int, expected: str) -> None:
    assert rounded_down(value, decimals) == expected


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        (5.0, "5"),
        (0.3, "0.3"),
        (1000.0, "1000"),
        (0.0, "0"),
        (0.1 + 0.2, "0.3"),
        (12.5, "12.5"),
        (-2.0, "-2"),
    ],
)
def test_numbers_that_somebody_chose(value: float, expected: str) -> None:
    assert as_given(value) == expected


def test_only_finite_numbers_have_digits() -> None:
    for function in (as_given, lambda x: rounded_down(x, 1)):
        for value in (math.nan, math.inf):
            with pytest.raises(ValueError, match="finite"):
                function(value)


@pytest.mark.parametrize(
    ("digits", "english", "german"),
    [
        ("", "", ""),
        ("0", "0", "0"),
        ("0.5", "0.5", "0,5"),
        ("-0.5", "-0.5", "\u22120,5"),
        ("4167", "4167", "4167"),
        ("12345", "12,345", "12.345"),
        ("-1234567.89", "-1,234,567.89", "\u22121.234.567,89"),
        ("0.123456", "0.123456", "0,123456"),
        ("\u221e", "\u221e", "\u221e"),
        ("-\u221e", "-\u221e", "\u2212\u221e"),
    ],
)
def test_two_languages(digits: str, english: str, german: str) -> None:
    assert localised(digits) == english
    assert localised(digits, decimal=",", group=".", minus="\u2212") == german


def test_groups_from_four_digits_where_a_language_wants_it() -> None:
    assert localised("4167", group_from=4) == "4,167"
    assert localised("167", group_from=4) == "167"
