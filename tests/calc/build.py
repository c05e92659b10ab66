"""Readings and instruments for the tests of the rules, written as a person would say them."""

import math

import numpy as np
from hypothesis import strategies as st

from mitigation.calc.reduction import Side
from surveys.calc.arrays import BoolArray, CodeArray, FloatArray
from surveys.calc.qualifiers import qualifier_code
from surveys.calc.resultant import Resultants, resultants
from surveys.calc.uncertainty import Instruments

NAN = math.nan

Cell = float | str | None


def floats(*numbers: float) -> FloatArray:
    """An array of these numbers."""
    return np.array(numbers, dtype=np.float64)


def codes(*words: str) -> CodeArray:
    """Qualifier codes of these signs."""
    return np.array([qualifier_code(word) for word in words], dtype=np.int8)


def bools(*values: bool) -> BoolArray:
    """An array of these truths."""
    return np.array(values, dtype=np.bool_)


def instrument(
    n: int = 1,
    *,
    gain_percent: float = 10.0,
    resolution: float = 0.1,
    noise: float = NAN,
    floor: float = NAN,
    ceiling: float = NAN,
) -> Instruments:
    """The same instrument behind each of n readings."""
    return Instruments(
        *(np.full(n, number) for number in (gain_percent, resolution, noise, floor, ceiling))
    )


def cells(*rows: tuple[Cell, ...]) -> tuple[FloatArray, CodeArray]:
    """Values and marks of rows (x, y, z[, total]) of cells such as 3.0, "<0.3" and None."""
    values = np.full((len(rows), 4), NAN)
    marks = np.zeros((len(rows), 4), dtype=np.int8)
    for i, row in enumerate(rows):
        for j, cell in enumerate(row):
            if isinstance(cell, str):
                marks[i, j] = {"<": -1, ">": 1}[cell[0]]
                values[i, j] = float(cell[1:])
            elif cell is not None:
                values[i, j] = cell
    return values, marks


def read(*row: Cell, placement: float = 0.05, **data: float) -> Resultants:
    """The resultant of one reading on one instrument."""
    return resultants(*cells(row), instrument(1, **data), placement)


def total(number: Cell, **data: float) -> Resultants:
    """The resultant of one reading of an instrument that shows its own total."""
    return read(None, None, None, number, **data)


def side(*values: float, qualifier: str = "", gain: float = 0.0, additive: float = 0.0) -> Side:
    """One visit's values, all of one kind."""
    n = len(values)
    return Side(floats(*values), codes(*([qualifier] * n)), np.full(n, gain), np.full(n, additive))


fields = st.floats(0.01, 5e4)
"""Fields that a home can have, in any of the units."""

relatives = st.floats(0.0, 0.2)
"""Relative standard uncertainties."""


@st.composite
def readings(draw: st.DrawFn, n: int = 5) -> tuple[FloatArray, CodeArray, Instruments, float]:
    """n readings of every kind: totals, one to three axes, cut off by a sign or by the range."""
    values = np.full((n, 4), NAN)
    marks = np.zeros((n, 4), dtype=np.int8)
    number = st.decimals("0", "3000", places=2).map(float)
    for i in range(n):
        columns = draw(st.sampled_from([(3,), (0,), (0, 2), (1, 2), (0, 1, 2)]))
        for j in columns:
            values[i, j] = draw(number)
            marks[i, j] = draw(st.sampled_from([0, 0, 0, 0, -1, 1]))
    data = Instruments(
        gain_percent=np.array([draw(st.floats(1.0, 30.0)) for _ in range(n)]),
        resolution=np.array([draw(st.sampled_from([0.01, 0.1, 1.0])) for _ in range(n)]),
        noise=np.array([draw(st.sampled_from([NAN, 0.0, 0.05, 5.0])) for _ in range(n)]),
        floor=np.array([draw(st.sampled_from([NAN, 0.3, 2.0])) for _ in range(n)]),
        ceiling=np.array([draw(st.sampled_from([NAN, 2000.0])) for _ in range(n)]),
    )
    return values, marks, data, draw(st.floats(0.0, 0.2))


def scaled(data: Instruments, by: float) -> Instruments:
    """The same instruments in another unit."""
    return Instruments(
        data.gain_percent,
        data.resolution * by,
        data.noise * by,
        data.floor * by,
        data.ceiling * by,
    )
