"""The rules of one reading in their order."""

import numpy as np
from hypothesis import given

from surveys.calc.arrays import CodeArray, FloatArray
from surveys.calc.findings import findings
from surveys.calc.uncertainty import Instruments
from tests.calc.build import NAN, cells, floats, instrument, readings

BOUNDS = floats(1.0, 5.0, 50.0)


def test_flags_in_words_and_in_order() -> None:
    values, marks = cells(
        (None, 0.4, None, None),
        (3.0, 4.0, None, None),
        (3.0, 4.0, 12.0, None),
        (None, None, None, "<1"),
        (None, None, None, ">0.4"),
    )
    data = instrument(5, resolution=0.1, noise=0.1)  # 5a = 0.52
    found = findings(values, marks, data, 0.05, BOUNDS, 1.0)
    assert [found.flags(row) for row in range(5)] == [
        ["one axis", "near the floor", "under the standard's range"],
        ["two axes", "on a bound"],
        [],
        ["on a bound"],
        [],
    ]
    assert found.band.tolist() == [1, 3, 3, 2, 1]


def test_bounds_and_range_by_row() -> None:
    """0.9 V/m is band 1 against the ground-referenced bounds and band 2 against the free ones."""
    values, marks = cells((None, None, None, 0.9), (None, None, None, 0.9))
    bounds = np.array([[1.0, 5.0, 50.0], [0.3, 1.5, 10.0]])
    found = findings(values, marks, instrument(2), 0.05, bounds, floats(1.0, NAN))
    assert found.band.tolist() == [1, 2]
    assert found.under_range.tolist() == [True, False]


@given(readings())
def test_an_array_equals_one_at_a_time(
    case: tuple[FloatArray, CodeArray, Instruments, float],
) -> None:
    values, marks, data, placement = case
    together = findings(values, marks, data, placement, BOUNDS, 1.0)
    for row in range(len(values)):
        where = np.array([row])
        alone = findings(values[where], marks[where], data.take(where), placement, BOUNDS, 1.0)
        assert alone.flags(0) == together.flags(row)
        assert alone.band[0] == together.band[row]


def test_no_readings_give_no_findings() -> None:
    empty = findings(
        np.full((0, 4), NAN), np.zeros((0, 4), dtype=np.int8), instrument(0), 0.05, BOUNDS, 1.0
    )
    assert empty.band.size == empty.resultant.value.size == 0
