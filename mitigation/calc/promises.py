"""Rule promise-1: frozen predictions held against what the follow-up found."""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from surveys.calc.arrays import BoolArray, FloatArray, IntArray

PROMISE = "promise-1"

CLASSES = (0.0, 0.2, 0.4, 0.6, 0.8, 1.0)
"""Ends of the five classes of probability."""

_NAN = float("nan")


@dataclass(frozen=True)
class Promises:
    """How predictions did; NaN without a row.

    Attributes
    ----------
    rows : int
    inside, inside_low, inside_high : float
        Share of the after values inside their 95 % interval, with its Wilson interval. [1]
    brier : float
        Mean Brier score of the probability against met or not. [1]
    mean_ln : float
        Mean of ln(after / predicted median). [1]
    """

    rows: int
    inside: float
    inside_low: float
    inside_high: float
    brier: float
    mean_ln: float


def wilson(count: int, n: int, level: float = 0.95) -> tuple[float, float]:
    """Wilson's interval of a share.

    Parameters
    ----------
    count, n : int
        So many of n; n above zero.
    level : float, optional
        Of the interval. [1]

    Returns
    -------
    float, float
        The ends. [1]

    References
    ----------
    Rule promise-1. E. B. Wilson, J. Am. Stat. Assoc. 22 (1927) 209 (from memory).
    """
    z = float(ndtri(0.5 + level / 2.0))
    share = count / n
    middle = (share + z * z / (2 * n)) / (1 + z * z / n)
    half = z * np.sqrt(share * (1 - share) / n + z * z / (4 * n * n)) / (1 + z * z / n)
    # On paper it always holds the share; the last bits of a root may leave one end of 0 or 1 out.
    return max(0.0, min(share, float(middle - half))), min(1.0, max(share, float(middle + half)))


def held_against(
    after: FloatArray, median: FloatArray, low: FloatArray, high: FloatArray
) -> tuple[BoolArray, FloatArray]:
    """Whether each after value lies inside its interval, and ln(after / predicted median).

    Parameters
    ----------
    after : array, shape (n,)
        What the follow-up found, above zero. [V/m, mV or nT]
    median, low, high : array, shape (n,)
        Of the frozen prediction. [same]

    Returns
    -------
    array of bool, shape (n,)
    array, shape (n,)
        [1]

    References
    ----------
    Rule promise-1.
    """
    return (after >= low) & (after <= high), np.log(after / median)


def kept_promises(
    inside: BoolArray, probability: FloatArray, met: BoolArray, ln_ratio: FloatArray
) -> Promises:
    """How far predictions held.

    Parameters
    ----------
    inside : array of bool, shape (n,)
        Whether the after value lies inside its interval.
    probability : array, shape (n,)
        Of the target, as it was promised. [1]
    met : array of bool, shape (n,)
        Whether the comparison decided that the target is met.
    ln_ratio : array, shape (n,)
        ln(after / predicted median). [1]

    Returns
    -------
    Promises

    References
    ----------
    Rule promise-1. Brier, Mon. Weather Rev. 78 (1950) 1 (from memory).
    """
    n = int(inside.size)
    if n == 0:
        return Promises(0, _NAN, _NAN, _NAN, _NAN, _NAN)
    ends = wilson(int(inside.sum()), n)
    brier = float(((probability - met) ** 2).mean())
    return Promises(n, float(inside.mean()), *ends, brier, float(ln_ratio.mean()))


def reliability(probability: FloatArray, met: BoolArray) -> tuple[IntArray, FloatArray, FloatArray]:
    """Five classes of probability: how many rows, their mean probability, the share that was met.

    Parameters
    ----------
    probability : array, shape (n,)
        [1]
    met : array of bool, shape (n,)

    Returns
    -------
    array of int, shape (5,)
    array, shape (5,)
        Mean probability of each class; NaN for an empty one. [1]
    array, shape (5,)
        Share of each class that was met; NaN for an empty one. [1]

    References
    ----------
    Rule promise-1.
    """
    place = np.clip(np.searchsorted(CLASSES, probability, side="right") - 1, 0, 4)
    count = np.bincount(place, minlength=5)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.bincount(place, weights=probability, minlength=5) / count
        share = np.bincount(place, weights=met.astype(np.float64), minlength=5) / count
    return count, mean, share
