"""Rule target-2; published worked examples are in tests/reference/test_conformity.py."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from mitigation.calc.target import (
    DECISION_WORDS,
    FLAG_TOO_COARSE,
    TARGET,
    Decision,
    judge,
    probability_under,
    target_limit,
)
from tests.calc.build import NAN, bools, codes, fields, floats

T = 5.0
U_T = 0.4  # w = 0.8


def decided(
    value: float,
    word: str = "",
    lower: float | None = None,
    *,
    partial: bool = False,
    certified: bool = True,
    faulty_ground: bool = False,
    u: float = 0.3,
    u_at_limit: float = U_T,
) -> tuple[str, float, bool]:
    """Decision, probability and coarseness of one after value against 5."""
    found = judge(
        floats(value),
        floats(value if lower is None else lower),
        codes(word),
        floats(u),
        floats(T),
        floats(u_at_limit),
        bools(partial),
        bools(certified),
        bools(faulty_ground),
    )
    return (
        DECISION_WORDS[found.decision[0]],
        float(found.probability[0]),
        bool(found.too_coarse[0]),
    )


def test_identifier_and_words() -> None:
    assert TARGET == "target-2"
    assert FLAG_TOO_COARSE == "instrument too coarse for this target"
    assert [word.replace("-", "_").upper() for word in DECISION_WORDS] == [d.name for d in Decision]


def test_nothing_is_decided_against_a_faulty_ground_point() -> None:
    for value in (0.1, 4.5, 5.5, 9.0):
        decision, probability, _coarse = decided(value, faulty_ground=True)
        assert decision == "undecided" and np.isnan(probability)


@pytest.mark.parametrize(
    ("value", "word"),
    [
        (0.1, "pass"),
        (4.19, "pass"),
        (4.2, "conditional-pass"),  # T − w
        (4.99, "conditional-pass"),
        (5.0, "conditional-fail"),  # T
        (5.8, "conditional-fail"),  # T + w
        (5.81, "fail"),
        (500.0, "fail"),
    ],
)
def test_each_side_of_each_limit(value: float, word: str) -> None:
    assert decided(value)[0] == word


def test_the_guard_is_taken_at_the_limit_and_not_at_the_reading() -> None:
    """u of the reading alone changes the probability and not the decision."""
    assert decided(4.1, u=0.1)[0] == decided(4.1, u=3.0)[0] == "pass"
    assert decided(4.1, u=0.1)[1] > decided(4.1, u=3.0)[1]


@pytest.mark.parametrize(
    ("upper", "lower", "word"),
    [
        (4.0, 0.0, "pass"),
        (4.5, 0.0, "conditional-pass"),
        (5.5, 0.0, "undecided"),
        (9.0, 4.5, "undecided"),
        (9.0, 4.99, "undecided"),
        (5.5, 5.0, "conditional-fail"),  # even the lower bound does not pass
        (9.0, 5.5, "fail"),
    ],
)
def test_values_that_are_upper_bounds(upper: float, lower: float, word: str) -> None:
    found, probability, _ = decided(upper, "\u2264", lower)
    assert found == word
    assert math.isnan(probability)


def test_nothing_detected() -> None:
    assert decided(0.3, "<", 0.0)[0] == "pass"
    assert decided(5.0, "<", 0.0)[0] == "undecided"


@pytest.mark.parametrize(
    ("value", "word"),
    [
        (2.0, "undecided"),
        (4.99, "undecided"),
        (5.0, "conditional-fail"),
        (5.81, "fail"),
        (2000.0, "fail"),
    ],
)
def test_values_that_are_lower_bounds(value: float, word: str) -> None:
    found, probability, _ = decided(value, ">")
    assert found == word
    assert math.isnan(probability)


def test_fewer_axes_never_pass_without_condition() -> None:
    assert decided(1.0)[0] == "pass"
    assert decided(1.0, partial=True)[0] == "conditional-pass"
    assert decided(0.3, "<", 0.0, partial=True)[0] == "conditional-pass"
    assert decided(4.5, partial=True)[0] == "conditional-pass"
    assert decided(5.5, partial=True)[0] == "conditional-fail"
    assert decided(9.0, partial=True)[0] == "fail"
    assert decided(1.0, partial=True)[1] == decided(1.0)[1]


def test_without_a_certificate_in_force_nothing_is_decided() -> None:
    for value in (1.0, 4.5, 5.5, 9.0):
        word, probability, _ = decided(value, certified=False)
        assert word == "undecided"
        assert math.isnan(probability)
        assert not math.isnan(decided(value)[1])


def test_without_a_value_nothing_is_decided() -> None:
    word, probability, _ = decided(NAN)
    assert word == "undecided"
    assert math.isnan(probability)


def test_a_coarse_instrument_can_not_pass_anything() -> None:
    word, _, coarse = decided(0.01, u_at_limit=2.49)
    assert (word, coarse) == ("pass", False)
    for u_at_limit in (2.5, 3.0):  # w = T and above
        word, _, coarse = decided(0.1, u_at_limit=u_at_limit)
        assert (word, coarse) == ("conditional-pass", True)
    assert decided(0.0, u_at_limit=2.5)[0] == "conditional-pass"


def test_target_limits() -> None:
    bounds = np.array([[1.0, 5.0, 50.0], [20.0, 100.0, 500.0]])
    assert target_limit(bounds, 1).tolist() == [1.0, 20.0]
    assert target_limit(bounds, 2).tolist() == [5.0, 100.0]
    assert float(target_limit(bounds[0], 2)) == 5.0
    for band in (0, 3, 4):
        with pytest.raises(ValueError, match="1 or 2"):
            target_limit(bounds, band)


def test_probability_limits() -> None:
    # Far under and far over; all of a distribution that begins at zero is over zero.
    assert probability_under(floats(0.1), floats(0.01), 5.0)[0] == 1.0
    assert probability_under(floats(50.0), floats(0.5), 5.0)[0] == pytest.approx(0.0, abs=1e-300)
    # At the limit with little uncertainty: one half.
    assert probability_under(floats(5.0), floats(0.01), 5.0)[0] == pytest.approx(0.5, rel=1e-12)
    # Almost no information: the share of a flat piece, which tends to zero with u.
    assert probability_under(floats(5.0), floats(1e6), 5.0)[0] < 1e-5
    # Without uncertainty it is a step, and the limit itself is not under the limit.
    sharp = probability_under(floats(4.9, 5.0, 5.1), floats(0.0, 0.0, 0.0), 5.0)
    assert sharp.tolist() == [1.0, 0.0, 0.0]
    assert math.isnan(probability_under(floats(NAN), floats(NAN), 5.0)[0])


@given(fields, st.floats(0.02, 3.0), st.floats(0.05, 20.0))
def test_probability_against_another_way_to_compute_it(e: float, rel: float, t: float) -> None:
    """scipy's own truncated normal distribution; it loses digits far out, so 1e-9."""
    u, limit = e * rel, e * t
    expected = stats.truncnorm.cdf(limit, -e / u, np.inf, loc=e, scale=u)
    assert probability_under(floats(e), floats(u), limit)[0] == pytest.approx(
        expected, rel=1e-9, abs=1e-15
    )


def test_small_probabilities_keep_their_digits() -> None:
    """E = 100, u = 5, T = 50: Φ(−10) = 7.619853e-24 (from memory of the normal table)."""
    assert probability_under(floats(100.0), floats(5.0), 50.0)[0] == pytest.approx(
        7.619853e-24, rel=1e-6
    )


@given(fields, fields, st.floats(0.05, 0.5))
def test_more_field_is_never_more_probable(a: float, b: float, rel: float) -> None:
    low, high = sorted((a, b))
    one, other = probability_under(floats(low, high), floats(low * rel, low * rel), 5.0)
    assert other <= one * (1 + 1e-12)


@given(fields, st.floats(0.0, 1e4), st.sampled_from(["", "<", "\u2264", ">"]), st.booleans())
def test_the_unit_does_not_matter(e: float, u: float, word: str, partial: bool) -> None:
    def ask(by: float) -> tuple[int, float]:
        found = judge(
            floats(e * by),
            floats(e / 2 * by),
            codes(word),
            floats(u * by),
            floats(T * by),
            floats(U_T * by),
            bools(partial),
            bools(True),
            bools(False),
        )
        return int(found.decision[0]), float(found.probability[0])

    assert ask(1.0) == pytest.approx(ask(1024.0), nan_ok=True, rel=0)


@given(fields, fields)
def test_more_field_is_never_a_better_decision(a: float, b: float) -> None:
    low, high = sorted((a, b))
    order = DECISION_WORDS.index
    assert order(decided(low)[0]) <= order(decided(high)[0])


def test_an_array_equals_one_at_a_time() -> None:
    values = [0.1, 4.5, 5.5, 9.0, 9.0, 4.0, 4.0, 1.0, 1.0, NAN]
    words = ["", "", "", "", "\u2264", "<", ">", "", "", ""]
    partial = [False] * 7 + [True, False, False]
    certified = [True] * 8 + [False, True]
    faulty = [False, True] + [False] * 8
    lower = [v / 3 for v in values]
    n = len(values)
    together = judge(
        floats(*values),
        floats(*lower),
        codes(*words),
        np.full(n, 0.3),
        np.full(n, T),
        np.full(n, U_T),
        bools(*partial),
        bools(*certified),
        bools(*faulty),
    )
    for i in range(n):
        word, probability, coarse = decided(
            values[i],
            words[i],
            lower[i],
            partial=partial[i],
            certified=certified[i],
            faulty_ground=faulty[i],
        )
        assert DECISION_WORDS[together.decision[i]] == word
        assert together.probability[i] == pytest.approx(probability, nan_ok=True, rel=0)
        assert together.too_coarse[i] == coarse


def test_no_spots_give_no_judgements() -> None:
    none, no = np.zeros(0), np.zeros(0, dtype=np.bool_)
    found = judge(none, none, np.zeros(0, dtype=np.int8), none, none, none, no, ~no, no)
    assert found.decision.size == found.probability.size == 0
