"""Worked examples of the guides on uncertainty, against the rules of measuring."""

import math

import numpy as np
import pytest

from surveys.calc.resultant import Resultants, resultants
from surveys.calc.uncertainty import additive, near_floor, standard_uncertainty
from tests.calc.build import NAN, codes, floats, instrument, read


def test_resultant_of_3_4_12_is_13() -> None:
    assert read(3.0, 4.0, 12.0).value[0] == 13.0


def test_a_gain_common_to_all_axes_scales_the_resultant() -> None:
    """Recomputed by JCGM 100:2008, 5.2.2: u 0.3, 0.4, 1.2 of 3, 4, 12, fully correlated, is 1.3.

    Taken as independent it would be sqrt(3²·0.3² + 4²·0.4² + 12²·1.2²)/13 = 1.11666.
    """
    u = standard_uncertainty(floats(13.0), 0.1, 0.0, 0.0)[0]
    assert u == pytest.approx(1.3, rel=1e-15)
    independent = math.sqrt(sum((e * 0.1 * e) ** 2 for e in (3, 4, 12))) / 13
    assert independent == pytest.approx(1.11666, rel=1e-5)
    assert abs(u - independent) > 0.1


def test_equal_independent_errors_on_the_axes_are_one_such_error_on_the_resultant() -> None:
    """Recomputed by JCGM 100:2008, 5.1.2: 0.5 on each of 3, 4, 12 is 0.5 on 13."""
    assert standard_uncertainty(floats(13.0), 0.0, 0.0, 0.5)[0] == 0.5
    by_propagation = math.sqrt(sum((e / 13 * 0.5) ** 2 for e in (3, 4, 12)))
    assert by_propagation == pytest.approx(0.5, rel=1e-15)


def test_parts_add_in_squares_whatever_their_shape() -> None:
    """JCGM 101:2008, 9.2.2 and 9.2.3, seen: four parts of sd 1, normal or rectangular: u = 2.0.

    A rectangle of sd 1 is 2·sqrt(3) wide, which is how a resolution comes in.
    """
    rectangle = additive(floats(2 * math.sqrt(3)), floats(0.0))
    assert rectangle[0] == pytest.approx(1.0, rel=1e-15)
    both = additive(floats(2 * math.sqrt(3)), floats(math.sqrt(3)))
    assert both[0] == pytest.approx(2.0, rel=1e-15)
    assert standard_uncertainty(floats(1.0), 1.0, 1.0, math.sqrt(2))[0] == pytest.approx(2.0)


def test_coverage_of_four_rectangles() -> None:
    """JCGM 101:2008, 9.2.3, seen: 95 % within ±3.88, where two standard uncertainties say ±4.

    Tolerance 0.03: the sampling error of this quantile with 400,000 draws is about 0.006.
    """
    rng = np.random.default_rng(101)
    draws = rng.uniform(-math.sqrt(3), math.sqrt(3), (4, 400_000)).sum(axis=0)
    assert np.quantile(np.abs(draws), 0.95) == pytest.approx(3.88, abs=0.03)


def noisy(true: tuple[float, ...], noise: float, n: int, seed: int) -> Resultants:
    """n resultants of axes that read their true value plus noise."""
    rng = np.random.default_rng(seed)
    values = np.full((n, 4), NAN)
    for axis, field in enumerate(true):
        values[:, axis] = np.abs(rng.normal(field, noise, n))
    data = instrument(n, gain_percent=0.0, resolution=1e-12, noise=noise)
    return resultants(values, np.zeros((n, 4), dtype=np.int8), data, 0.0)


def test_near_zero_a_resultant_is_too_high_and_flagged() -> None:
    """JCGM 102:2011, 9.3, two parts each of u 0.01, seen and recomputed.

    True 0.001: Monte Carlo finds 0.013 (u 0.007), first order 0.001. True 0.100: 0.1005.
    """
    low, high = noisy((0.001, 0.0), 0.01, 400_000, 102), noisy((0.1, 0.0), 0.01, 400_000, 103)
    assert round(low.value.mean(), 3) == 0.013
    assert round(low.value.std(), 3) == 0.007
    assert high.value.mean() == pytest.approx(0.1005, abs=1e-4)
    a = floats(0.01, 0.01, 0.01)
    flagged = near_floor(floats(0.001, 0.013, 0.1), a, codes("", "", ""))
    assert flagged.tolist() == [True, True, False]


def test_three_axes_of_noise_alone() -> None:
    """Recomputed: Maxwell's distribution has mean sqrt(8/π) = 1.5958 and sd 0.6734."""
    found = noisy((0.0, 0.0, 0.0), 1.0, 400_000, 104)
    assert math.sqrt(8 / math.pi) == pytest.approx(1.5958, abs=5e-5)
    assert found.value.mean() == pytest.approx(1.5958, abs=0.004)
    assert found.value.std() == pytest.approx(0.6734, abs=0.003)
    flagged = near_floor(found.value, np.ones(found.value.size), found.qualifier)
    assert flagged.mean() > 0.9999


def test_at_five_times_the_noise_the_bias_is_a_small_part_of_u() -> None:
    """Where the flag ends: the bias of three axes is about a²/E = 0.2·a, a fifth of u."""
    found = noisy((5.0, 0.0, 0.0), 1.0, 400_000, 105)
    assert found.value.mean() - 5.0 == pytest.approx(0.2, abs=0.02)
    assert found.value.std() == pytest.approx(1.0, abs=0.05)
