"""Rule band-1."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from surveys.calc.bands import BAND, FLAG_ON_BOUND, band, on_bound
from tests.calc.build import NAN, fields, floats

BOUNDS = floats(1.0, 5.0, 50.0)


def test_identifier_and_word() -> None:
    assert BAND == "band-1"
    assert FLAG_ON_BOUND == "on a bound"


def test_each_side_of_each_bound() -> None:
    values = floats(0.999, 1.0, 1.001, 4.999, 5.0, 5.001, 49.999, 50.0, 50.001)
    assert band(values, BOUNDS).tolist() == [1, 2, 2, 2, 3, 3, 3, 3, 4]
    expected = [False, True, False, False, True, False, False, True, False]
    assert on_bound(values, BOUNDS).tolist() == expected


def test_limits() -> None:
    assert band(floats(0.0, np.inf), BOUNDS).tolist() == [1, 4]
    assert band(floats(NAN), BOUNDS).tolist() == [0]
    assert on_bound(floats(0.0, np.inf, NAN), BOUNDS).tolist() == [False, False, False]


def test_rounding_does_not_move_a_value_off_a_bound() -> None:
    """0.1 · 3 and 0.3 are one number on paper."""
    assert 0.1 * 3 != 0.3
    bounds = floats(0.3, 3.0, 10.0)
    below_and_above = floats(0.3 - 1e-16, 0.1 * 3, 3.0 - 4e-16, 10.0 + 2e-15)
    assert band(below_and_above, bounds).tolist() == [2, 2, 3, 3]
    assert on_bound(below_and_above, bounds).all()


@given(fields, fields)
def test_more_field_is_never_a_lower_band(a: float, b: float) -> None:
    low, high = band(floats(*sorted((a, b))), BOUNDS)
    assert low <= high


@given(fields, st.sampled_from([2.0**-7, 1024.0]))
def test_the_unit_does_not_matter(value: float, by: float) -> None:
    assert band(floats(value), BOUNDS) == band(floats(value * by), BOUNDS * by)
    assert on_bound(floats(value), BOUNDS) == on_bound(floats(value * by), BOUNDS * by)


def test_an_array_equals_one_at_a_time() -> None:
    values = floats(0.5, 5.0, 7.0, 700.0)
    bounds = np.array([[1.0, 5.0, 50.0], [0.3, 1.5, 10.0], [10.0, 100.0, 1000.0], [20, 100, 500]])
    assert band(values, bounds).tolist() == [
        int(band(values[i : i + 1], bounds[i])[0]) for i in range(4)
    ]
    assert band(values, bounds).tolist() == [1, 3, 1, 4]
    assert on_bound(values, bounds).tolist() == [
        bool(on_bound(values[i : i + 1], bounds[i])[0]) for i in range(4)
    ]
