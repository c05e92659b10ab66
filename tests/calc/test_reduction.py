"""Rule reduction-2; published worked examples are in tests/reference."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from mitigation.calc.reduction import REDUCTION, Reductions, Side, reductions
from tests.calc.build import NAN, bools, fields, floats, relatives, side

FIGURES = ("percent", "percent_low", "percent_high", "db", "db_low", "db_high")


def compared(before: Side, after: Side, placement: float = 0.0, shared: bool = False) -> Reductions:
    """Reductions of spots that share everything but their values."""
    return reductions(before, after, placement, np.full(before.value.size, shared))


def test_identifier() -> None:
    assert REDUCTION == "reduction-2"


def test_a_fall_and_a_rise() -> None:
    """By hand: 20 to 2 is 90 % and 20 dB; 2 to 20 is a rise of 900 % and -20 dB."""
    found = compared(side(20.0, 2.0), side(2.0, 20.0))
    assert found.percent == pytest.approx([90.0, -900.0], rel=1e-15)
    assert found.db == pytest.approx([20.0, -20.0], rel=1e-15)
    assert found.real.tolist() == [True, True]
    assert found.given.all() and not found.at_least.any()


def test_the_interval_by_hand() -> None:
    """p = 0.04, a/B = 0.02, a/A = 0.06, g = 0.02 and 0.04: σ² = 0.0092, exp(2σ) = 1.211468."""
    before = side(50.0, gain=0.02, additive=1.0)
    after = side(5.0, gain=0.04, additive=0.3)
    found = compared(before, after, placement=0.04)
    sigma = math.sqrt(2 * 0.0016 + 0.0004 + 0.0036 + 0.0004 + 0.0016)
    assert sigma**2 == pytest.approx(0.0092, rel=1e-12)
    assert found.percent_low[0] == pytest.approx(100 * (1 - 0.1 * 1.211468), rel=1e-6)
    assert found.percent_high[0] == pytest.approx(100 * (1 - 0.1 / 1.211468), rel=1e-6)
    assert found.db_low[0] == pytest.approx(20 - 20 * math.log10(1.211468), rel=1e-6)
    assert found.db_high[0] == pytest.approx(20 + 20 * math.log10(1.211468), rel=1e-6)


def test_a_gain_that_both_visits_share_cancels() -> None:
    before, after = side(50.0, gain=0.2), side(5.0, gain=0.2)
    apart, together = compared(before, after), compared(before, after, shared=True)
    assert together.percent_low[0] == together.percent[0] == together.percent_high[0]
    assert apart.percent_low[0] < apart.percent[0] < apart.percent_high[0]


def test_placement_is_drawn_at_both_visits_even_on_one_instrument() -> None:
    found = compared(side(50.0), side(5.0), placement=0.05, shared=True)
    assert found.percent_low[0] == pytest.approx(
        100 * (1 - 0.1 * math.exp(2 * math.sqrt(2) * 0.05)), rel=1e-14
    )


@pytest.mark.parametrize(
    ("before", "after", "given_", "at_least"),
    [
        ("", "", True, False),
        ("", "<", True, True),
        ("", "\u2264", True, True),
        (">", "", True, True),
        (">", "<", True, True),
        (">", "\u2264", True, True),
        # A fall that one side lets be smaller than the figure: nothing is known for certain.
        ("<", "", False, False),
        ("\u2264", "", False, False),
        ("", ">", False, False),
        ("<", "<", False, False),
        ("\u2264", "<", False, False),
        ("<", ">", False, False),
        ("\u2264", ">", False, False),
        (">", ">", False, False),
    ],
)
def test_every_pair_of_signs_where_the_numbers_fall(
    before: str, after: str, given_: bool, at_least: bool
) -> None:
    found = compared(side(50.0, qualifier=before), side(5.0, qualifier=after))
    assert (bool(found.given[0]), bool(found.at_least[0])) == (given_, at_least)
    for name in FIGURES:
        assert np.isnan(getattr(found, name)[0]) != given_
    if given_:
        assert found.percent[0] == pytest.approx(90.0, rel=1e-15)
    assert bool(found.real[0]) == given_


@pytest.mark.parametrize(
    ("before", "after", "given_", "at_least"),
    [
        ("", "", True, False),
        ("", ">", True, True),
        ("<", ">", True, True),
        ("\u2264", ">", True, True),
        ("<", "", True, True),
        ("\u2264", "", True, True),
        # A rise that one side lets be smaller than the figure.
        ("", "<", False, False),
        ("", "\u2264", False, False),
        (">", "", False, False),
        (">", "<", False, False),
        (">", ">", False, False),
        ("<", "<", False, False),
        ("<", "\u2264", False, False),
    ],
)
def test_every_pair_of_signs_where_the_numbers_rise(
    before: str, after: str, given_: bool, at_least: bool
) -> None:
    """reduction-2: a field that went over the range rose at least twelvefold from 26 to > 312."""
    found = compared(side(26.0, qualifier=before), side(312.0, qualifier=after))
    assert (bool(found.given[0]), bool(found.at_least[0])) == (given_, at_least)
    if given_:
        assert found.percent[0] == pytest.approx(-1100.0, rel=1e-15)
    assert bool(found.real[0]) == given_


def test_a_rise_of_at_least_is_real_when_its_end_nearer_to_0_is_below_it() -> None:
    narrow = compared(side(50.0), side(55.0, qualifier=">"), placement=0.05)
    assert narrow.given[0] and narrow.at_least[0]
    assert narrow.percent[0] < 0.0 < narrow.percent_high[0]
    assert not narrow.real[0]
    wide = compared(side(50.0), side(100.0, qualifier=">"), placement=0.05)
    assert wide.percent_high[0] == pytest.approx(100 * (1 - 2 / math.exp(2 * 0.05 * math.sqrt(2))))
    assert wide.real[0]


@pytest.mark.parametrize("after", [50.0, 80.0])
def test_at_least_nothing_says_nothing(after: float) -> None:
    found = compared(side(50.0), side(after, qualifier="<"))
    assert not found.given[0] and not found.at_least[0] and not found.real[0]
    assert np.isnan(found.percent[0])
    # Without the sign the same numbers are a figure: no change, or a rise.
    plain = compared(side(50.0), side(after))
    assert plain.given[0]


def test_at_least_is_real_only_when_its_low_end_is() -> None:
    wide = compared(side(50.0), side(45.0, qualifier="<"), placement=0.05)
    assert wide.given[0] and wide.at_least[0]
    assert wide.percent[0] > 0.0 > wide.percent_low[0]
    assert not wide.real[0]
    assert compared(side(50.0), side(25.0, qualifier="<"), placement=0.05).real[0]


def test_a_change_inside_the_interval_is_not_real() -> None:
    found = compared(side(50.0, 50.0, 50.0), side(48.0, 52.0, 50.0), placement=0.05)
    assert not found.real.any()
    found = compared(side(50.0, 50.0), side(25.0, 100.0), placement=0.05)
    assert found.real.all()


@pytest.mark.parametrize(
    ("before", "after"), [(NAN, 5.0), (5.0, NAN), (NAN, NAN), (0.0, 5.0), (5.0, 0.0), (0.0, 0.0)]
)
def test_missing_and_zero_are_null(before: float, after: float) -> None:
    found = compared(side(before, additive=0.1), side(after, additive=0.1), placement=0.05)
    assert not found.given[0] and not found.real[0] and not found.at_least[0]
    for name in FIGURES:
        assert np.isnan(getattr(found, name)[0])


def test_limits() -> None:
    same = compared(side(7.0), side(7.0))
    assert same.percent[0] == 0.0 and same.db[0] == 0.0
    nearly_all = compared(side(1e9), side(1e-3))
    assert nearly_all.percent[0] == pytest.approx(100.0, rel=1e-11)
    assert nearly_all.percent[0] <= 100.0


def test_a_hopeless_interval_stays_finite() -> None:
    found = compared(side(50.0, additive=0.1), side(0.01, additive=50.0))
    assert not found.real[0]
    for name in FIGURES:
        assert np.isfinite(getattr(found, name)[0])
    assert found.percent_high[0] <= 100.0


positive = st.floats(0.01, 1e4)


@given(positive, positive, relatives, relatives, relatives, st.floats(0, 5), st.floats(0, 5))
def test_the_interval_holds_the_figure(
    b: float, a: float, gb: float, ga: float, p: float, ab: float, aa: float
) -> None:
    found = compared(side(b, gain=gb, additive=ab), side(a, gain=ga, additive=aa), p)
    assert found.percent_low[0] <= found.percent[0] + 1e-12 * (100 + abs(found.percent[0]))
    assert found.percent_high[0] >= found.percent[0] - 1e-12 * (100 + abs(found.percent[0]))
    assert found.percent_high[0] <= 100.0
    assert found.db_low[0] <= found.db[0] <= found.db_high[0]


@given(positive, positive, relatives, st.floats(0, 5), st.sampled_from([2.0**-7, 1024.0]))
def test_the_unit_does_not_matter(b: float, a: float, g: float, noise: float, by: float) -> None:
    one = compared(side(b, gain=g, additive=noise), side(a, gain=g, additive=noise), 0.05)
    other = compared(
        side(b * by, gain=g, additive=noise * by), side(a * by, gain=g, additive=noise * by), 0.05
    )
    for name in FIGURES:
        assert getattr(one, name)[0] == getattr(other, name)[0]


@given(positive, positive, relatives, st.floats(0.0, 5.0))
def test_there_and_back_cancel_in_decibels(b: float, a: float, g: float, noise: float) -> None:
    """What a fall gained, the same rise loses: dB change sign and the ends change places."""
    one, other = side(b, gain=g, additive=noise), side(a, gain=g, additive=noise)
    fall, rise = compared(one, other, 0.05), compared(other, one, 0.05)
    assert fall.db[0] == pytest.approx(-rise.db[0], rel=1e-12, abs=1e-12)
    assert fall.db_low[0] == pytest.approx(-rise.db_high[0], rel=1e-9, abs=1e-9)
    assert fall.real[0] == rise.real[0]


@given(positive, positive, positive)
def test_less_left_is_never_less_gone(b: float, a1: float, a2: float) -> None:
    low, high = sorted((a1, a2))
    found = compared(side(b, b), side(low, high))
    assert found.percent[0] >= found.percent[1]


@given(fields, fields)
def test_percent_and_decibels_say_the_same(b: float, a: float) -> None:
    found = compared(side(b, additive=0.1), side(a, additive=0.1), 0.05)
    for end in ("", "_low", "_high"):
        ratio = 10.0 ** (-getattr(found, f"db{end}")[0] / 20.0)
        assert getattr(found, f"percent{end}")[0] == pytest.approx(
            100.0 * (1.0 - ratio), rel=1e-9, abs=1e-7
        )


def test_an_array_equals_one_at_a_time() -> None:
    before = Side(
        floats(50.0, 2.0, 9.0, NAN),
        np.array([0, 0, 3, 0], dtype=np.int8),
        floats(0.05, 0.1, 0.02, 0.05),
        floats(0.1, 0.2, 0.3, 0.4),
    )
    after = Side(
        floats(5.0, 20.0, 1.0, 1.0),
        np.array([0, 0, 1, 0], dtype=np.int8),
        floats(0.05, 0.05, 0.02, 0.05),
        floats(0.1, 0.1, 0.3, 0.4),
    )
    placement, shared = floats(0.05, 0.1, 0.0, 0.05), bools(True, False, True, True)
    together = reductions(before, after, placement, shared)
    for i in range(4):
        here = slice(i, i + 1)
        alone = reductions(
            Side(*(getattr(before, n)[here] for n in ("value", "qualifier", "gain", "additive"))),
            Side(*(getattr(after, n)[here] for n in ("value", "qualifier", "gain", "additive"))),
            float(placement[i]),
            shared[here],
        )
        for name in (*FIGURES, "at_least", "real", "given"):
            one, all_ = getattr(alone, name)[0], getattr(together, name)[i]
            assert one == all_ or (np.isnan(one) and np.isnan(all_)), name


def test_no_spots_give_no_reductions() -> None:
    assert compared(side(), side()).percent.size == 0
