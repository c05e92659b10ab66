"""Repeat readings: how well a practice puts the probe back in the same place."""

from dataclasses import dataclass

import numpy as np

from surveys.calc.arrays import FloatArray, IntArray


@dataclass(frozen=True)
class Pooled:
    """A pooled relative standard deviation and what it stands on.

    Attributes
    ----------
    relative_sd : float
        p. [1]
    degrees_of_freedom : int
        Readings less groups.
    group : array of int, shape (m,)
        The groups with two readings or more, ascending.
    n, mean, group_relative_sd : array, shape (m,)
        Of each group: number of readings, mean [unit of the values], s/mean [1].
    """

    relative_sd: float
    degrees_of_freedom: int
    group: IntArray
    n: IntArray
    mean: FloatArray
    group_relative_sd: FloatArray

    @property
    def relative_uncertainty(self) -> float:
        """How well p itself is known, about 1/sqrt(2 nu). [1] JCGM 100:2008, E.4.3."""
        return float(1.0 / np.sqrt(2.0 * self.degrees_of_freedom))


def pooled_relative_sd(group: IntArray, value: FloatArray) -> Pooled:
    """The relative standard deviation of readings that should have been the same.

    Parameters
    ----------
    group : array of int, shape (n,)
        Number of the group of each reading: one spot, quantity, visit, instrument and ground point.
    value : array, shape (n,)
        E. [any unit, one within a group] Above zero.

    Returns
    -------
    Pooled
        p² = sum (n_i - 1)(s_i/m_i)² / sum (n_i - 1) over the groups of two readings or more, with
        m_i the mean and s_i the experimental standard deviation of group i. A group of one says
        nothing.

    Raises
    ------
    ValueError
        If a value is not above zero, or no group has two readings.

    Notes
    -----
    What the readings vary by besides the placement (last digit, load) is in p too, so p is rather
    too large than too small.

    References
    ----------
    Used as p in rule uncertainty-1. JCGM 100:2008, 4.2.2 (experimental variance) and 4.2.4 (pooled
    estimate).
    """
    if not (value > 0).all():
        raise ValueError("a value is not above zero")
    known, place, n = np.unique(group, return_inverse=True, return_counts=True)
    repeated = n > 1
    if not repeated.any():
        raise ValueError("no group has two readings")
    mean = np.bincount(place, weights=value) / n
    squares = np.bincount(place, weights=(value - mean[place]) ** 2)
    degrees = int((n[repeated] - 1).sum())
    relative_squares = squares[repeated] / mean[repeated] ** 2
    return Pooled(
        relative_sd=float(np.sqrt(relative_squares.sum() / degrees)),
        degrees_of_freedom=degrees,
        group=known[repeated],
        n=n[repeated],
        mean=mean[repeated],
        group_relative_sd=np.sqrt(relative_squares / (n[repeated] - 1)),
    )
