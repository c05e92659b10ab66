"""Pooled relative standard deviation of repeat readings, by hand calculation."""

import numpy as np
import pytest

from surveys.calc.placement import pooled_relative_sd

# A: 9, 10, 11: mean 10, s² = (1 + 0 + 1)/2 = 1, (s/m)² = 0.01, 2 degrees of freedom.
# B: 98, 102: mean 100, s² = (4 + 4)/1 = 8, (s/m)² = 0.0008, 1 degree of freedom.
# Pooled: (2·0.01 + 1·0.0008)/3 = 0.0208/3 = 0.00693333; root 0.0832666.
GROUP = np.array([5, 2, 5, 2, 5, 9])
VALUE = np.array([9.0, 98.0, 10.0, 102.0, 11.0, 7.0])  # the 7 stands alone and says nothing
EXACT = 1e-12


def test_hand_calculation() -> None:
    pooled = pooled_relative_sd(GROUP, VALUE)
    assert pooled.relative_sd == pytest.approx((0.0208 / 3) ** 0.5, rel=EXACT)
    assert pooled.relative_sd == pytest.approx(0.0832666, rel=1e-6)  # as rounded above
    assert pooled.degrees_of_freedom == 3
    assert pooled.group.tolist() == [2, 5]
    assert pooled.n.tolist() == [2, 3]
    assert pooled.mean == pytest.approx([100.0, 10.0], rel=EXACT)
    assert pooled.group_relative_sd == pytest.approx([0.0008**0.5, 0.1], rel=EXACT)


def test_how_well_it_is_known() -> None:
    # 1/sqrt(2·3) = 0.408248; JCGM 100:2008, table E.1 gives 24 % for n = 10, 1/sqrt(18) = 23.6 %
    # (from memory).
    assert pooled_relative_sd(GROUP, VALUE).relative_uncertainty == pytest.approx(
        6**-0.5, rel=EXACT
    )
    ten = pooled_relative_sd(np.zeros(10, dtype=np.int64), np.arange(1.0, 11.0))
    assert ten.relative_uncertainty == pytest.approx(0.24, rel=0.02)


def test_the_unit_and_the_order_make_no_difference() -> None:
    pooled = pooled_relative_sd(GROUP, VALUE)
    scaled = pooled_relative_sd(GROUP, VALUE * 100.0)
    turned = pooled_relative_sd(GROUP[::-1], VALUE[::-1])
    assert scaled.relative_sd == pytest.approx(pooled.relative_sd, rel=EXACT)
    assert turned.relative_sd == pytest.approx(pooled.relative_sd, rel=EXACT)


def test_equal_readings_have_no_spread() -> None:
    assert pooled_relative_sd(np.array([1, 1, 1]), np.array([4.2, 4.2, 4.2])).relative_sd == (
        pytest.approx(0.0, abs=1e-15)  # the mean may be off by a last bit
    )


def test_two_pure_repeats_give_back_the_spread_they_were_drawn_with() -> None:
    # 20,000 pairs around means of 3 decades, spread 5 %: p is known to 1/sqrt(40,000) = 0.5 %.
    dice = np.random.default_rng(17)
    true = np.repeat(10.0 ** dice.uniform(0, 3, 20_000), 2)
    value = true * (1.0 + 0.05 * dice.standard_normal(40_000))
    pooled = pooled_relative_sd(np.repeat(np.arange(20_000), 2), value)
    assert pooled.relative_sd == pytest.approx(0.05, rel=0.02)  # four times that


@pytest.mark.parametrize(
    ("group", "value", "says"),
    [
        ([1, 1], [0.0, 2.0], "above zero"),
        ([1, 1], [np.nan, 2.0], "above zero"),
        ([1, 2], [3.0, 2.0], "no group"),
        ([], [], "no group"),
    ],
)
def test_what_cannot_be_pooled_is_refused(group, value, says) -> None:
    with pytest.raises(ValueError, match=says):
        pooled_relative_sd(np.array(group, dtype=np.int64), np.array(value, dtype=np.float64))
