"""Rules resultant-1 and censored-1: one value from one look at the meter."""

from dataclasses import dataclass

import numpy as np

from surveys.calc.arrays import BoolArray, CodeArray, FloatArray
from surveys.calc.qualifiers import QUALIFIER_WORDS, Qualifier, qualifier_code
from surveys.calc.uncertainty import Instruments, standard_uncertainty

__all__ = [
    "CENSORED",
    "FLAG_ONE_AXIS",
    "FLAG_TWO_AXES",
    "MARK_ABOVE",
    "MARK_BELOW",
    "MARK_PLAIN",
    "QUALIFIER_WORDS",
    "RESULTANT",
    "CountedCells",
    "Qualifier",
    "Resultants",
    "counted_cells",
    "qualifier_code",
    "resultants",
]

RESULTANT = "resultant-1"
CENSORED = "censored-1"

FLAG_ONE_AXIS = "one axis"
FLAG_TWO_AXES = "two axes"

MARK_BELOW = -1
MARK_PLAIN = 0
MARK_ABOVE = 1

NEGLIGIBLE_SHARE = 0.1
"""Bounds that differ by less than this share of u are one value."""

TOTAL_COLUMN = 3


@dataclass(frozen=True)
class Resultants:
    """One value a reading, with its bounds.

    Attributes
    ----------
    value : array, shape (n,)
        E, or the bound that stands for it. [V/m, mV or nT]
    lower, upper : array, shape (n,)
        Bounds of E; `upper` is infinite where the instrument was out of its range. [same]
    qualifier : array of int8, shape (n,)
        Codes of `Qualifier`.
    axes : array of int8, shape (n,)
        How many axes the value is made of; 0 = the instrument's own total.
    u : array, shape (n,)
        Standard uncertainty at `value`. [same]
    """

    value: FloatArray
    lower: FloatArray
    upper: FloatArray
    qualifier: CodeArray
    axes: CodeArray
    u: FloatArray

    @property
    def one_axis(self) -> BoolArray:
        """Where one axis was taken for the whole."""
        return np.equal(self.axes, 1)

    @property
    def two_axes(self) -> BoolArray:
        """Where two axes were taken for the whole."""
        return np.equal(self.axes, 2)

    @property
    def partial(self) -> BoolArray:
        """Where one or two axes were taken for the whole."""
        return self.one_axis | self.two_axes


@dataclass(frozen=True)
class CountedCells:
    """Axes and total of each reading as censored-1 counts them.

    Attributes
    ----------
    number : array, shape (n, 4)
        What was read, or the end of the range that stands for it. [V/m, mV or nT] NaN = not given.
    mark : array of int8, shape (n, 4)
        `MARK_BELOW` where nothing was detected, `MARK_ABOVE` where it was out of range, else
        `MARK_PLAIN`.
    summand : array, shape (n, 4)
        What stands in the root of the reading's value: `number`, but 0 for a cell that was not
        detected where another is out of range. [same]
    """

    number: FloatArray
    mark: CodeArray
    summand: FloatArray


def counted_cells(values: FloatArray, marks: CodeArray, instruments: Instruments) -> CountedCells:
    """The number and the sign by which each cell counts.

    Parameters
    ----------
    values : array, shape (n, 4)
        Axes x, y, z and the total, as read. [V/m, mV or nT] NaN = not given.
    marks : array of int8, shape (n, 4)
        -1 where the cell said "<", 1 where it said ">", else 0.
    instruments : Instruments, n rows

    Returns
    -------
    CountedCells, n rows

    References
    ----------
    Rule censored-1.
    """
    cells, signs = values.T, marks.T
    floor = _floor(instruments)
    below, above = _cut_off(cells, signs, ~np.isnan(cells), floor, instruments.ceiling)
    number = _edges(cells, signs, below, above, floor, instruments.ceiling)
    mark = np.where(below, MARK_BELOW, np.where(above, MARK_ABOVE, MARK_PLAIN)).astype(np.int8)
    summand = np.where(below & above.any(axis=0), 0.0, number)
    return CountedCells(number.T, mark.T, summand.T)


def resultants(
    values: FloatArray,
    marks: CodeArray,
    instruments: Instruments,
    placement: FloatArray | float,
) -> Resultants:
    """The field of each reading from its axes or its total, with bounds where it was cut off.

    Parameters
    ----------
    values : array, shape (n, 4)
        Axes x, y, z and the total, as read. [V/m, mV or nT] NaN = not given; either the total or
        one to three axes; zero or more.
    marks : array of int8, shape (n, 4)
        -1 where the cell said "<", 1 where it said ">", else 0.
    instruments : Instruments, n rows
        Data of the instrument behind each reading.
    placement : array, shape (n,), or float
        p, relative standard uncertainty of putting the probe back. [1]

    Returns
    -------
    Resultants, n rows

    Raises
    ------
    ValueError
        If a row has no number, a total beside axes, or a negative number.

    Notes
    -----
    E = sqrt(x² + y² + z²). A number under the floor (without one, under the resolution) is read
    as "<floor", one over the ceiling as ">ceiling". "<L" is L in the upper bound and 0 in the
    lower; ">U" is U in the lower bound and leaves the upper open. The value is the upper bound
    with "<" (no axis detected) or "≤" (some), and the lower bound with ">". A cell that carries
    its own sign keeps its own number, whatever the instrument's range is.

    References
    ----------
    Rules resultant-1 and censored-1. "Resultant field" of IEC 61786 and IEEE 644.
    """
    cells = np.array(values.T, dtype=np.float64, order="C")
    signs = np.ascontiguousarray(marks.T)
    given = ~np.isnan(cells)
    axes = _count_axes(cells, given)
    np.fmax(cells, 0.0, out=cells)  # NaN to 0

    floor = _floor(instruments)
    below, above = _cut_off(cells, signs, given, floor, instruments.ceiling)
    value = _root_of_squares(cells)
    lower = value.copy()
    upper = value.copy()
    qualifier = np.zeros(value.shape, dtype=np.int8)
    rows = np.flatnonzero((below | above).any(axis=0))
    if rows.size:
        edge = _edges(
            cells[:, rows], signs[:, rows], below[:, rows], above[:, rows],
            floor[rows], instruments.ceiling[rows],
        )  # fmt: skip
        lower[rows], upper[rows], qualifier[rows] = _bounds(
            edge, given[:, rows], below[:, rows], above[:, rows]
        )
        value[rows] = np.where(qualifier[rows] == Qualifier.ABOVE, lower[rows], upper[rows])
    u = standard_uncertainty(value, instruments.gain, placement, instruments.additive)
    if rows.size:
        gap = upper[rows] - lower[rows]
        qualifier[rows[gap < NEGLIGIBLE_SHARE * u[rows]]] = Qualifier.NONE
    return Resultants(value, lower, upper, qualifier, axes, u)


def _count_axes(cells: FloatArray, given: BoolArray) -> CodeArray:
    """How many axes each reading has, after refusing rows that are no reading."""
    axes: CodeArray = given[0].astype(np.int8)
    axes += given[1]
    axes += given[2]
    total = given[TOTAL_COLUMN]
    if ((axes > 0) == total).any():
        raise ValueError("a reading has either a total or one to three axes")
    if cells.size and np.nanmin(cells) < 0.0:
        raise ValueError("a reading is never negative")
    return axes


def _floor(instruments: Instruments) -> FloatArray:
    """Where an instrument has no floor, its resolution serves."""
    return np.where(np.isnan(instruments.floor), instruments.resolution, instruments.floor)


def _edges(
    cells: FloatArray,
    signs: CodeArray,
    below: BoolArray,
    above: BoolArray,
    floor: FloatArray,
    ceiling: FloatArray,
) -> FloatArray:
    """The number read, or the end of the range in its place; an own sign keeps its own number."""
    plain = signs == MARK_PLAIN
    edge = np.where(plain & below, floor, cells)
    return np.where(plain & above, ceiling, edge)


def _cut_off(
    cells: FloatArray, signs: CodeArray, given: BoolArray, floor: FloatArray, ceiling: FloatArray
) -> tuple[BoolArray, BoolArray]:
    """Cells that were not detected and cells that are out of range."""
    below = cells < floor
    above = cells > ceiling
    if signs.any():
        plain = signs == MARK_PLAIN
        below = (below & plain) | (signs == MARK_BELOW)
        above = (above & plain) | (signs == MARK_ABOVE)
    below &= given
    above &= given
    return below, above


def _bounds(
    edge: FloatArray, given: BoolArray, below: BoolArray, above: BoolArray
) -> tuple[FloatArray, FloatArray, CodeArray]:
    """Lower bound, upper bound and qualifier of readings with at least one cell cut off.

    `edge` holds, cell by cell, the number read or the bound that stands in its place.
    """
    low = np.where(below, 0.0, edge)
    lower = _root_of_squares(low)
    upper = _root_of_squares(edge)
    out = above.any(axis=0)
    upper[out] = np.inf
    none_detected = (below == given).all(axis=0)
    qualifier = np.where(none_detected, Qualifier.BELOW, Qualifier.AT_MOST).astype(np.int8)
    qualifier[out] = Qualifier.ABOVE
    return lower, upper, qualifier


def _root_of_squares(cells: FloatArray) -> FloatArray:
    """sqrt(x² + y² + z² + total²), added in this order so that a row alone gives the same bits."""
    square: FloatArray = cells[0] * cells[0]
    for column in (1, 2, TOTAL_COLUMN):
        square += cells[column] * cells[column]
    np.sqrt(square, out=square)
    return square
