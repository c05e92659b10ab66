"""Ratios, decibels and their uncertainty, against rule reduction-2."""

import numpy as np
import pytest

from mitigation.calc.reduction import Reductions, reductions
from tests.calc.build import bools, side

DECIBEL_PER_NEPER = 8.685889638065035  # 20/ln 10


def one(before: float, g_before: float, after: float, g_after: float, shared: bool) -> Reductions:
    """A ratio whose only uncertainty is that of the two gains."""
    return reductions(side(before, gain=g_before), side(after, gain=g_after), 0.0, bools(shared))


def u_db(found: Reductions) -> float:
    """Standard uncertainty in decibels, from the interval of two of them each way."""
    return float(found.db_high[0] - found.db_low[0]) / 4.0


def u_reduction(found: Reductions) -> float:
    """Standard uncertainty of 1 − A/B to first order, from the same interval."""
    return (1.0 - float(found.percent[0]) / 100.0) * u_db(found) / DECIBEL_PER_NEPER


def test_fifty_to_five() -> None:
    """Recomputed by JCGM 100:2008, 5.1.2: E1 = 50 (u 5), E2 = 5 (u 0.5), independent.

    Reduction 0.900, u 0.014142; 20.00 dB, u 1.2284 dB.
    """
    found = one(50.0, 0.1, 5.0, 0.1, shared=False)
    assert found.percent[0] == pytest.approx(90.0, rel=1e-15)
    assert u_reduction(found) == pytest.approx(0.014142, abs=5e-7)
    assert found.db[0] == pytest.approx(20.0, rel=1e-15)
    assert u_db(found) == pytest.approx(1.2284, abs=5e-5)


def test_fifty_to_five_fully_correlated() -> None:
    """JCGM 100:2008, 5.2.2, recomputed: the same with a common error has u 0."""
    found = one(50.0, 0.1, 5.0, 0.1, shared=True)
    assert u_reduction(found) == 0.0
    assert u_db(found) == 0.0


def test_a_hundred_to_twenty_five() -> None:
    """Recomputed: E1 = 100 (5), E2 = 25 (2.5): 0.750, u 0.02795; 12.041 dB, u 0.9711 dB."""
    found = one(100.0, 0.05, 25.0, 0.1, shared=False)
    assert found.percent[0] == 75.0
    assert u_reduction(found) == pytest.approx(0.02795, abs=5e-6)
    assert found.db[0] == pytest.approx(12.041, abs=5e-4)
    assert u_db(found) == pytest.approx(0.9711, abs=5e-5)


def test_twenty_to_two_and_back() -> None:
    """Recomputed: 90.0 % and 20.0 dB; a rise of 900 % and -20.0 dB."""
    found = reductions(side(20.0, 2.0), side(2.0, 20.0), 0.0, bools(True, True))
    assert found.percent == pytest.approx([90.0, -900.0], rel=1e-15)
    assert found.db == pytest.approx([20.0, -20.0], rel=1e-15)


@pytest.mark.parametrize(
    ("db", "percent", "within"),
    [
        (1, 10.875, 5e-4),
        (3, 29.205, 5e-4),
        (6, 49.881, 5e-4),
        (10, 68.377, 5e-4),
        (12, 74.881, 5e-4),
        (20, 90.0, 1e-12),
        (30, 96.838, 5e-4),
        (40, 99.0, 1e-12),
        (60, 99.9, 1e-12),
        (6.0206, 50.0, 5e-5 * 6),
        (12.0412, 75.0, 5e-5 * 3),
        (13.9794, 80.0, 5e-5 * 3),
        (26.0206, 95.0, 5e-5),
    ],
)
def test_decibels_of_a_field(db: float, percent: float, within: float) -> None:
    """Recomputed: 1 − 10^(−dB/20). Tolerances are half of the last digit of the table."""
    found = reductions(side(1.0), side(10.0 ** (-db / 20.0)), 0.0, bools(True))
    assert found.percent[0] == pytest.approx(percent, abs=within)
    assert found.db[0] == pytest.approx(db, rel=1e-12)


def test_power_decibels_are_another_thing() -> None:
    """20 dB are 90 % of a field and 99 % of a power; a mix-up would show here."""
    found = reductions(side(1.0), side(0.1), 0.0, bools(True))
    assert found.db[0] == pytest.approx(20.0, rel=1e-15)
    assert found.percent[0] == pytest.approx(90.0, rel=1e-15)
    power_left = 10.0 ** (-found.db[0] / 10.0)
    assert power_left == pytest.approx(0.01, rel=1e-12)


def test_published_distances_as_a_reduction() -> None:
    """BPA 1994, 115 kV line, seen: 29.7 mG at the right of way, 0.2 mG at 300 ft.

    By hand: 1 − 0.2/29.7 = 99.3266 %, 43.435 dB.
    """
    found = reductions(side(2970.0), side(20.0), 0.0, bools(True))
    assert found.percent[0] == pytest.approx(99.3266, abs=5e-5)
    assert found.db[0] == pytest.approx(20 * np.log10(148.5), rel=1e-14)
    assert found.db[0] == pytest.approx(43.435, abs=5e-4)
