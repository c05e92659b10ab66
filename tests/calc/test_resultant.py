"""Rule resultant-1: axes and totals."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from surveys.calc.arrays import CodeArray, FloatArray
from surveys.calc.resultant import RESULTANT, resultants
from surveys.calc.uncertainty import Instruments
from tests.calc.build import NAN, cells, fields, instrument, read, readings, scaled, total


def test_identifier() -> None:
    assert RESULTANT == "resultant-1"


def test_three_axes() -> None:
    """By hand: 3² + 4² + 12² = 169 = 13²."""
    found = read(3.0, 4.0, 12.0)
    assert found.value[0] == 13.0
    assert found.axes[0] == 3
    assert not found.partial[0]


def test_a_total_is_used_as_it_is() -> None:
    found = total(7.3)
    assert found.value[0] == 7.3
    assert found.axes[0] == 0
    assert not found.partial[0]


def test_one_axis_is_the_value_and_is_flagged() -> None:
    for row in [(7.3, None, None), (None, 7.3, None), (None, None, 7.3)]:
        found = read(*row)
        assert found.value[0] == 7.3
        assert found.one_axis[0] and found.partial[0] and not found.two_axes[0]


def test_two_axes_are_combined_and_flagged() -> None:
    for row in [(3.0, 4.0, None), (3.0, None, 4.0), (None, 3.0, 4.0)]:
        found = read(*row)
        assert found.value[0] == 5.0
        assert found.two_axes[0] and found.partial[0] and not found.one_axis[0]


def test_a_plain_reading_has_equal_bounds_and_no_qualifier() -> None:
    found = read(3.0, 4.0, 12.0)
    assert found.lower[0] == found.upper[0] == found.value[0]
    assert found.qualifier[0] == 0


@given(fields, fields, fields)
def test_limits(x: float, y: float, z: float) -> None:
    """A sum of squares is no less than its largest part and no more than the plain sum."""
    value = read(x, y, z, resolution=0.001).value[0]
    assert max(x, y, z) * (1 - 1e-15) <= value <= (x + y + z) * (1 + 1e-15)
    # The same by another route, to the rounding of three squares and a root.
    assert value == pytest.approx(math.hypot(x, y, z), rel=1e-15)


@given(st.permutations([0, 1, 2]), fields, fields, fields)
def test_the_order_of_axes_does_not_matter(order: list[int], x: float, y: float, z: float) -> None:
    axes = (x, y, z)
    turned = read(*(axes[i] for i in order), resolution=0.001)
    # A sum taken in another order differs by its rounding only.
    assert turned.value[0] == pytest.approx(read(*axes, resolution=0.001).value[0], rel=1e-15)


@given(st.floats(0.01, 1e4), st.floats(0.01, 1e4), fields, fields)
def test_more_on_one_axis_is_never_less_in_all(a: float, b: float, y: float, z: float) -> None:
    less, more = sorted((a, b))
    assert (
        read(less, y, z, resolution=0.001).value[0] <= read(more, y, z, resolution=0.001).value[0]
    )


@given(readings(), st.sampled_from([2.0**-7, 1024.0]))
def test_the_unit_does_not_matter(
    case: tuple[FloatArray, CodeArray, Instruments, float], by: float
) -> None:
    """By a power of two, so that the test need not allow for rounding."""
    values, marks, data, placement = case
    one = resultants(values, marks, data, placement)
    other = resultants(values * by, marks, scaled(data, by), placement)
    assert np.array_equal(one.value * by, other.value)
    assert np.array_equal(one.lower * by, other.lower)
    assert np.array_equal(one.upper * by, other.upper)
    assert np.array_equal(one.u * by, other.u)
    assert np.array_equal(one.qualifier, other.qualifier)
    assert np.array_equal(one.axes, other.axes)


@given(readings())
def test_an_array_equals_one_at_a_time(
    case: tuple[FloatArray, CodeArray, Instruments, float],
) -> None:
    values, marks, data, placement = case
    together = resultants(values, marks, data, placement)
    for row in range(len(values)):
        where = np.array([row])
        alone = resultants(values[where], marks[where], data.take(where), placement)
        for name in ("value", "lower", "upper", "qualifier", "axes", "u"):
            assert getattr(alone, name)[0] == getattr(together, name)[row], name


@given(readings())
def test_bounds_hold_the_value(case: tuple[FloatArray, CodeArray, Instruments, float]) -> None:
    found = resultants(*case)
    assert (found.lower <= found.value).all()
    assert (found.value <= found.upper).all()


@pytest.mark.parametrize(
    "row",
    [
        (None, None, None, None),
        (1.0, None, None, 1.0),
        (1.0, 2.0, 3.0, 4.0),
        (-1.0, 2.0, 3.0, None),
        (None, None, None, -0.1),
    ],
)
def test_what_is_no_reading_is_refused(row: tuple[float | None, ...]) -> None:
    good = (3.0, 4.0, 12.0, None)
    assert resultants(*cells(good, good), instrument(2), 0.05).value.tolist() == [13.0, 13.0]
    with pytest.raises(ValueError, match="reading"):
        resultants(*cells(good, row), instrument(2), 0.05)


def test_no_readings_give_no_results() -> None:
    empty = resultants(np.full((0, 4), NAN), np.zeros((0, 4), np.int8), instrument(0), 0.05)
    assert empty.value.shape == (0,)


def test_the_readings_given_are_not_written_to() -> None:
    values, marks = cells((3.0, 0.0, None, None))
    kept = values.copy()
    resultants(values, marks, instrument(), 0.05)
    assert np.array_equal(values, kept, equal_nan=True)
