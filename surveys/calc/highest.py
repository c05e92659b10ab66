"""Rule highest-1: which reading stands for a spot."""

import numpy as np

from surveys.calc.arrays import BoolArray, CodeArray, FloatArray, IntArray
from surveys.calc.qualifiers import Qualifier

HIGHEST = "highest-1"


def highest(
    group: IntArray,
    value: FloatArray,
    qualifier: CodeArray,
    counts: BoolArray | None = None,
) -> tuple[IntArray, IntArray]:
    """The reading that counts in each group of readings of one spot, visit and measurand.

    Parameters
    ----------
    group : array of int, shape (n,)
        Number of the group of each reading, zero or more, best without wide gaps.
    value : array, shape (n,)
        From `resultants`: the upper bound, or the lower one of a ">" reading. [V/m, mV or nT]
    qualifier : array of int8, shape (n,)
        Codes of `Qualifier`.
    counts : array of bool, shape (n,), optional
        Readings as used and not set aside; without it all count.

    Returns
    -------
    groups : array of int, shape (m,)
        The groups that have a reading that counts, ascending.
    rows : array of int, shape (m,)
        For each the row of its reading.

    Raises
    ------
    ValueError
        If a group number is negative or a value that counts is NaN.

    Notes
    -----
    A ">" reading outranks every other, two of them rank by the number behind the sign; else the
    highest upper bound; on a tie the first row.

    References
    ----------
    Rule highest-1.
    """
    rows = np.arange(group.size) if counts is None else np.flatnonzero(counts)
    if rows.size == 0:
        return np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64)
    groups, size, over = group[rows], value[rows], qualifier[rows] == Qualifier.ABOVE
    if np.isnan(size).any():
        raise ValueError("a reading that counts has no value")
    if groups.min() < 0:
        raise ValueError("a group number is negative")
    width = int(groups.max()) + 1

    # Three passes that each keep the rows that still can win: ">" if the group has one, then
    # the highest value, then the first row. Each pass is linear, where sorting is not.
    if over.any():
        has_over = np.zeros(width, dtype=np.bool_)
        has_over[groups[over]] = True
        kept = over | ~has_over[groups]
        rows, groups, size = rows[kept], groups[kept], size[kept]
    best = np.full(width, -np.inf)
    np.maximum.at(best, groups, size)
    kept = size == best[groups]
    rows, groups = rows[kept], groups[kept]
    first = np.full(width, -1, dtype=np.int64)
    first[groups[::-1]] = rows[::-1]  # of equal indices the last one written stays
    filled = np.flatnonzero(first >= 0)
    return filled, first[filled]
