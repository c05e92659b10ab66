"""Worked examples of conformity assessment, against rule target-2."""

import numpy as np
import pytest
from scipy import stats

from mitigation.calc.target import DECISION_WORDS, judge, probability_under
from tests.calc.build import bools, codes, floats


def test_probability_inside_a_two_sided_tolerance() -> None:
    """JCGM 106:2012, seen and recomputed: 13.6, u 1.8, limits 12.5 and 16.3 -> 0.66 (0.6626).

    A difference of two upper limits; the value is 7.6 u above zero, so the cut there is nothing.
    """
    value, u = floats(13.6), floats(1.8)
    inside = probability_under(value, u, 16.3)[0] - probability_under(value, u, 12.5)[0]
    assert round(inside, 2) == 0.66
    assert inside == pytest.approx(0.6626, abs=5e-5)


def test_probability_under_an_upper_limit() -> None:
    """JCGM 106:2012, from memory, recomputed: limit -5.40, value -5.47, u 0.05 -> 0.919.

    Our fields are not negative; moved up by 10 it is the same question.
    """
    assert probability_under(floats(4.53), floats(0.05), 4.60)[0] == pytest.approx(0.919, abs=5e-4)


@pytest.mark.parametrize(("value", "probability"), [(0.92, 0.9452), (0.90, 0.9772)])
def test_probability_under_one_volt_per_metre(value: float, probability: float) -> None:
    """Recomputed: u 0.05, limit 1.0; Φ(1.6) and Φ(2)."""
    found = probability_under(floats(value), floats(0.05), 1.0)[0]
    assert found == pytest.approx(probability, abs=5e-5)


def test_probability_where_the_cut_at_zero_matters() -> None:
    """By hand from the normal table: E = u = 1, T = 1: (0.5 − 0.158655)/0.841345 = 0.405714."""
    assert probability_under(floats(1.0), floats(1.0), 1.0)[0] == pytest.approx(0.405714, abs=1e-6)


@pytest.mark.parametrize(
    ("value", "word"),
    [(4.0, "pass"), (4.5, "conditional-pass"), (5.3, "conditional-fail"), (5.9, "fail")],
)
def test_the_four_answers(value: float, word: str) -> None:
    """ILAC-G8:09/2019, seen: T 5.0, U 0.8, guard band w = U."""
    found = judge(
        floats(value),
        floats(value),
        codes(""),
        floats(0.4),
        floats(5.0),
        floats(0.4),
        bools(False),
        bools(True),
        bools(False),
    )
    assert DECISION_WORDS[found.decision[0]] == word


@pytest.mark.parametrize(
    ("guard_in_expanded", "percent", "within"),
    [(0.0, 50.0, 0.4), (0.83, 4.8, 0.2), (1.0, 2.3, 0.15), (1.5, 0.13, 0.04)],
)
def test_risk_of_a_wrong_pass_at_the_limit(
    guard_in_expanded: float, percent: float, within: float
) -> None:
    """ILAC-G8:09/2019, table of guard bands, seen: 50, 4.8, 2.3 and 0.13 %.

    200,000 readings of a field that is exactly at the limit. The rule takes w = U; the other guard
    bands are had by telling it another u(T). Tolerances are three standard errors and more.
    """
    rng = np.random.default_rng(8)
    n, limit, u = 200_000, 5.0, 0.4
    value = rng.normal(limit, u, n)
    told = np.full(n, guard_in_expanded * u)
    found = judge(
        value,
        value,
        np.zeros(n, dtype=np.int8),
        np.full(n, u),
        np.full(n, limit),
        told,
        np.zeros(n, dtype=np.bool_),
        np.ones(n, dtype=np.bool_),
        np.zeros(n, dtype=np.bool_),
    )
    passed = 100.0 * np.mean(found.decision == 0)
    assert passed == pytest.approx(percent, abs=within)
    assert 100.0 * stats.norm.cdf(-2.0 * guard_in_expanded) == pytest.approx(percent, abs=0.06)
