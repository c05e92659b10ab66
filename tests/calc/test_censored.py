"""Rule censored-1: readings that the instrument cut off. Expected numbers are by hand."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from surveys.calc.qualifiers import QUALIFIER_WORDS, Qualifier, qualifier_code
from surveys.calc.resultant import (
    CENSORED,
    MARK_BELOW,
    MARK_PLAIN,
    Resultants,
    counted_cells,
    resultants,
)
from tests.calc.build import Cell, cells, fields, instrument, read, readings, total


def said(found: Resultants) -> tuple[str, float, float, float]:
    """Sign, value, lower and upper bound of a single reading."""
    return (
        QUALIFIER_WORDS[found.qualifier[0]],
        float(found.value[0]),
        float(found.lower[0]),
        float(found.upper[0]),
    )


def test_identifier() -> None:
    assert CENSORED == "censored-1"


def test_signs_and_codes() -> None:
    assert [qualifier_code(word) for word in ("", "<", "\u2264", ">")] == list(Qualifier)
    with pytest.raises(ValueError, match=r"not in tuple"):
        qualifier_code("~")


def test_nothing_detected_on_three_axes() -> None:
    # sqrt(3 · 0.3²)
    word, value, lower, upper = said(read("<0.3", "<0.3", "<0.3"))
    assert (word, lower) == ("<", 0.0)
    assert value == upper == pytest.approx(0.3 * math.sqrt(3), rel=1e-15)


def test_some_detected() -> None:
    # upper sqrt(3² + 4²) = 5, lower 3; u(5) is about 0.35
    assert said(read(3.0, "<4", None)) == ("\u2264", 5.0, 3.0, 5.0)


def test_out_of_range_on_one_axis() -> None:
    # 12 is the least on that axis: sqrt(3² + 4² + 12²) = 13, and no upper end
    assert said(read(3.0, 4.0, ">12")) == (">", 13.0, 13.0, math.inf)


def test_out_of_range_beside_not_detected() -> None:
    # U for the axis out of range, 0 for the one not detected
    assert said(read("<4", None, ">3")) == (">", 3.0, 3.0, math.inf)
    assert said(read("<1", 4.0, ">3")) == (">", 5.0, 5.0, math.inf)


def test_a_total_that_was_cut_off() -> None:
    assert said(total("<0.3")) == ("<", 0.3, 0.0, 0.3)
    assert said(total(">2000")) == (">", 2000.0, 2000.0, math.inf)


@pytest.mark.parametrize(
    ("number", "floor", "word", "value"),
    [
        (0.29, 0.3, "<", 0.3),
        (0.3, 0.3, "", 0.3),  # on the floor it was detected
        (0.31, 0.3, "", 0.31),
        (0.0, 0.3, "<", 0.3),
    ],
)
def test_a_number_under_the_floor(number: float, floor: float, word: str, value: float) -> None:
    assert said(total(number, floor=floor))[:2] == (word, value)
    assert said(read(number, None, None, floor=floor))[:2] == (word, value)


@pytest.mark.parametrize(
    ("number", "word", "value"), [(0.09, "<", 0.1), (0.1, "", 0.1), (0.0, "<", 0.1)]
)
def test_without_a_floor_the_resolution_serves(number: float, word: str, value: float) -> None:
    assert said(total(number, resolution=0.1))[:2] == (word, value)


def test_a_floor_replaces_the_resolution_even_when_it_is_lower() -> None:
    assert said(total(0.05, resolution=0.1, floor=0.02))[:2] == ("", 0.05)


@pytest.mark.parametrize(
    ("number", "word", "value"), [(1999.0, "", 1999.0), (2000.0, "", 2000.0), (2001.0, ">", 2000.0)]
)
def test_a_number_over_the_ceiling(number: float, word: str, value: float) -> None:
    assert said(total(number, ceiling=2000.0))[:2] == (word, value)


def test_the_range_holds_for_each_axis_and_not_for_their_resultant() -> None:
    """Three axes inside the range give a resultant over the ceiling, and it is a plain value."""
    word, value, _, _ = said(read(1500.0, 1500.0, 1500.0, ceiling=2000.0))
    assert word == ""
    assert value == pytest.approx(1500.0 * math.sqrt(3), rel=1e-15)
    # Each axis under the floor, and a resultant over it: still nothing was detected.
    assert said(read(0.29, 0.29, 0.29, floor=0.3))[0] == "<"


def test_a_sign_that_was_written_keeps_its_own_number() -> None:
    assert said(total("<0.1", floor=0.3))[:2] == ("<", 0.1)
    assert said(total(">3000", ceiling=2000.0))[:2] == (">", 3000.0)
    assert said(total("<0.5", floor=0.3, ceiling=0.4))[:2] == ("<", 0.5)


def test_one_axis_alone_that_was_not_detected() -> None:
    found = read(None, "<0.3", None)
    assert said(found)[:3] == ("<", 0.3, 0.0)
    assert found.one_axis[0]


def test_an_axis_not_detected_still_counts_as_filled() -> None:
    assert read(3.0, "<0.3", None).two_axes[0]
    assert read(3.0, "<0.3", "<0.3").axes[0] == 3


def test_an_undetected_axis_that_does_not_matter() -> None:
    """E = 48, L = 0.3: the bounds differ by 0.3²/96 = 0.0009, and u is over 3."""
    found = read(48.0, "<0.3", "<0.3")
    assert said(found)[0] == ""
    assert found.lower[0] == 48.0
    assert found.value[0] == pytest.approx(math.sqrt(48**2 + 0.18), rel=1e-15)


@pytest.mark.parametrize(("limit", "word"), [(0.5, ""), (0.6, "\u2264")])
def test_where_it_begins_to_matter(limit: float, word: str) -> None:
    """g = 0.1/2, p = 0, a = 0 at E = 5: 0.1·u is 0.025, and L²/(2·5) is 0.025 for L = 0.5.

    The gap of the roots is a little under that: sqrt(25.25) − 5 = 0.024938 against
    0.1·0.05·5.024938 = 0.025125; for 0.6 it is 0.035871 against 0.025179.
    """
    found = read(5.0, f"<{limit}", None, resolution=1e-9, placement=0.0)
    assert said(found)[0] == word


def test_out_of_range_always_matters() -> None:
    assert said(read(5000.0, ">1", None))[0] == ">"


def test_the_uncertainty_is_that_of_the_value() -> None:
    """At the upper bound: g = p = 0.05, E = 5, a² = 0.01/12."""
    found = read(3.0, "<4", None)
    assert found.u[0] == pytest.approx(math.sqrt(2 * 0.0025 * 25 + 0.01 / 12), rel=1e-15)


@given(fields, fields, st.floats(0.01, 100.0))
def test_the_true_field_is_between_the_bounds(x: float, hidden: float, limit: float) -> None:
    """Whatever an undetected axis really was, below its limit, the bounds hold it."""
    truth = math.hypot(x, min(hidden, limit))
    found = read(x, f"<{limit!r}", None, resolution=0.001)
    assert found.lower[0] * (1 - 1e-15) <= truth <= found.upper[0] * (1 + 1e-15)


@given(st.permutations([3.0, "<4", ">12"]))
def test_the_order_of_axes_does_not_matter(row: list[Cell]) -> None:
    assert said(read(*row)) == said(read(3.0, "<4", ">12"))


@given(readings())
def test_counted_cells_make_up_the_bounds_of_the_resultant(drawn) -> None:
    """The same rule told cell by cell: root of squares of the cells is the value itself."""
    values, marks, data, placement = drawn
    counted, whole = counted_cells(values, marks, data), resultants(values, marks, data, placement)
    assert np.sqrt(np.nansum(counted.summand**2, axis=1)) == pytest.approx(whole.value, rel=1e-12)
    low = np.where(counted.mark == MARK_BELOW, 0.0, counted.number)
    assert np.sqrt(np.nansum(low**2, axis=1)) == pytest.approx(whole.lower, rel=1e-12)
    assert (np.isnan(counted.number) == np.isnan(values)).all()
    cut_off = (counted.mark != MARK_PLAIN).any(axis=1)
    assert (cut_off | (whole.qualifier == Qualifier.NONE)).all()


def test_cells_by_hand() -> None:
    # Below the floor, over the ceiling, as read; a sign of its own keeps its own number.
    values, marks = cells((0.2, 2500.0, 7.0), ("<0.9", None, ">50"), (0.2, 7.0, None))
    counted = counted_cells(values, marks, instrument(3, floor=0.3, ceiling=2000.0))
    assert counted.number[:, :3].tolist() == [
        [0.3, 2000.0, 7.0], [0.9, pytest.approx(np.nan, nan_ok=True), 50.0],
        [0.3, 7.0, pytest.approx(np.nan, nan_ok=True)],
    ]  # fmt: skip
    assert counted.mark.tolist() == [[-1, 1, 0, 0], [-1, 0, 1, 0], [-1, 0, 0, 0]]
    assert counted.summand[:, 0].tolist() == [0.0, 0.0, 0.3]
