"""Rule highest-2: which reading stands for a spot."""

from enum import IntEnum

import numpy as np

from surveys.calc.arrays import BoolArray, CodeArray, FloatArray, IntArray
from surveys.calc.qualifiers import Qualifier

HIGHEST = "highest-2"


class Ground(IntEnum):
    """What a reading stands on."""

    NONE = 0  # needs no ground point, or names none
    FAULTY = 1  # a point that was found faulty at the visit
    SOUND = 2  # a point that was not


def highest(
    group: IntArray,
    value: FloatArray,
    qualifier: CodeArray,
    counts: BoolArray | None = None,
    ground: CodeArray | None = None,
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
    ground : array of int8, shape (n,), optional
        Codes of `Ground`: what is known of the ground point of a reading that refers to one.

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
    A reading on a faulty ground point does not compete where another of its group stands on a
    point that is not. A ">" reading outranks every other, two of them rank by the number behind the
    sign; else the highest upper bound; on a tie the first row.

    References
    ----------
    Rule highest-2.
    """
    rows = np.arange(group.size) if counts is None else np.flatnonzero(counts)
    if rows.size == 0:
        return np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64)
    if ground is not None and np.equal(ground[rows], Ground.FAULTY).any():
        rows = _on_sound_ground(rows, group[rows], ground[rows])
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


def _on_sound_ground(rows: IntArray, groups: IntArray, ground: CodeArray) -> IntArray:
    """The rows without those on faulty ground, where their group has one on sound ground."""
    if groups.min() < 0:
        raise ValueError("a group number is negative")
    has_sound = np.zeros(int(groups.max()) + 1, dtype=np.bool_)
    has_sound[groups[ground == Ground.SOUND]] = True
    kept: IntArray = rows[(ground != Ground.FAULTY) | ~has_sound[groups]]
    return kept
