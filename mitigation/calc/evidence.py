"""Rule evidence-1: what a kind of remedy has achieved, over homes."""

from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit

from surveys.calc.arrays import FloatArray

EVIDENCE = "evidence-1"

FEWEST_HOMES = 3
"""With fewer there is no mean and no interval."""

_NAN = float("nan")


@dataclass(frozen=True)
class Pooled:
    """The mean of ln(after/before) over homes; NaN where the homes are too few.

    Attributes
    ----------
    homes : int
        k.
    mean, se : float
        Mean and its standard error, that of Hartung and Knapp, not below the plain one. [1]
    low, high : float
        95 % interval of the mean. [1]
    next_low, next_high : float
        95 % interval of the mean of the next home. [1]
    tau2 : float
        Variance between homes. [1]
    """

    homes: int
    mean: float
    se: float
    low: float
    high: float
    next_low: float
    next_high: float
    tau2: float


def home_effect(log_ratio: FloatArray, sigma: FloatArray) -> tuple[float, float]:
    """What one home says: the mean of its rows and its variance.

    Parameters
    ----------
    log_ratio : array, shape (n,)
        ln(after/before) of each row. [1]
    sigma : array, shape (n,)
        Standard uncertainty of each, from reduction-2. [1]

    Returns
    -------
    float
        y = mean of `log_ratio`. [1]
    float
        v = Σσ²/n². [1]

    Raises
    ------
    ValueError
        Without a row.

    References
    ----------
    Rule evidence-1.
    """
    if log_ratio.size == 0:
        raise ValueError("a home has at least one row")
    return float(log_ratio.mean()), float((sigma**2).sum() / sigma.size**2)


def pooled(effect: FloatArray, variance: FloatArray) -> Pooled:
    """The random-effects mean over homes with its intervals.

    Parameters
    ----------
    effect : array, shape (k,)
        y of each home. [1]
    variance : array, shape (k,)
        v of each home, above zero. [1]

    Returns
    -------
    Pooled

    Raises
    ------
    ValueError
        If a variance is not above zero.

    Notes
    -----
    tau² of DerSimonian and Laird, weights 1/(v + tau²). The standard error is that of Hartung and
    Knapp, not below the plain one; mean ± t(k − 1)·se, and for the next home
    mean ± t(k − 2)·sqrt(tau² + se²).

    References
    ----------
    Rule evidence-1. DerSimonian and Laird, Control. Clin. Trials 7 (1986) 177; Hartung and Knapp,
    Stat. Med. 20 (2001) 3875; Higgins, Thompson and Spiegelhalter, J. R. Stat. Soc. A 172 (2009)
    137 (all from memory).
    """
    k = int(effect.size)
    if (variance <= 0.0).any():
        raise ValueError("a variance is above zero")
    if k < FEWEST_HOMES:
        return Pooled(k, _NAN, _NAN, _NAN, _NAN, _NAN, _NAN, _NAN)
    tau2 = between_homes(effect, variance)
    weight = 1.0 / (variance + tau2)
    mean = float((weight * effect).sum() / weight.sum())
    plain = float(np.sqrt(1.0 / weight.sum()))
    knapp = float(np.sqrt((weight * (effect - mean) ** 2).sum() / ((k - 1) * weight.sum())))
    se = max(plain, knapp)
    half = float(stdtrit(k - 1, 0.975)) * se
    next_half = float(stdtrit(k - 2, 0.975)) * float(np.sqrt(tau2 + se**2))
    return Pooled(k, mean, se, mean - half, mean + half, mean - next_half, mean + next_half, tau2)


def between_homes(effect: FloatArray, variance: FloatArray) -> float:
    """tau², the variance between homes by DerSimonian and Laird, zero or more. [1]

    Parameters
    ----------
    effect, variance : array, shape (k,)
        As in `pooled`.

    References
    ----------
    Rule evidence-1.
    """
    weight = 1.0 / variance
    fixed = (weight * effect).sum() / weight.sum()
    q = (weight * (effect - fixed) ** 2).sum()
    spread = weight.sum() - (weight**2).sum() / weight.sum()
    return max(0.0, float((q - (effect.size - 1)) / spread))
