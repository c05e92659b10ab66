"""Rule prediction-1: what the follow-up should read if a plan is carried out."""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from surveys.calc.arrays import FloatArray
from surveys.calc.bands import band

PREDICTION = "prediction-1"


@dataclass(frozen=True)
class Predicted:
    """The after reading as it is foretold; NaN where a guideline gives no bound.

    Attributes
    ----------
    median, low, high : float
        The middle, and the 2.5 and 97.5 percentiles. [V/m, mV or nT]
    bands : array, shape (4,)
        Share of the draws in each band. [1]
    probability : float
        That it is under the target, if every item works as it should. [1]
    """

    median: float
    low: float
    high: float
    bands: FloatArray
    probability: float


def normal_draws(n: int, rng: np.random.Generator) -> FloatArray:
    """Standard normal draws, one from each of n equal shares of the distribution, in random order.

    Parameters
    ----------
    n : int
    rng : numpy.random.Generator

    Returns
    -------
    array, shape (n,)
        [1]

    References
    ----------
    Rule prediction-1. Stratified, so that percentiles of a few thousand draws are steady.
    """
    return np.asarray(ndtri(uniform_draws(n, rng)), dtype=np.float64)


def uniform_draws(n: int, rng: np.random.Generator) -> FloatArray:
    """Draws between 0 and 1, one from each of n equal shares, in random order; shape (n,). [1]"""
    shares = (np.arange(n) + rng.uniform(1e-9, 1.0 - 1e-9, n)) / n
    return rng.permutation(shares)


def left_draws(effect_db: float, spread_db: float, n: int, rng: np.random.Generator) -> FloatArray:
    """What an item leaves of what it acts on, k = 10^(−D/20).

    Parameters
    ----------
    effect_db, spread_db : float
        D ~ N(effect, spread). [dB] 20·log10 of the ratio of fields.
    n : int
    rng : numpy.random.Generator

    Returns
    -------
    array, shape (n,)
        [1]

    References
    ----------
    Rule prediction-1.
    """
    return np.asarray(10.0 ** (-(effect_db + spread_db * normal_draws(n, rng)) / 20.0))


def after_draws(
    before: float,
    ratio: FloatArray,
    placement: float,
    additive: float,
    noise: FloatArray,
) -> FloatArray:
    """The after reading on the same meter, A = B·ρ·(1 + p·z2)·(1 + p·z3) + a·z5.

    Parameters
    ----------
    before : float
        B, the finding or the bound that stands for it. [V/m, mV or nT]
    ratio : array, shape (draws,)
        ρ. [1]
    placement : float
        p, relative standard uncertainty of putting the probe back. [1]
    additive : float
        a of uncertainty-1. [unit of `before`]
    noise : array, shape (3, draws)
        z2, z3 and z5, standard normal. [1]

    Returns
    -------
    array, shape (draws,)
        [unit of `before`] A meter shows nothing below zero.

    References
    ----------
    Rule prediction-1.
    """
    moved = (1.0 + placement * noise[0]) * (1.0 + placement * noise[1])
    after: FloatArray = np.maximum(before * ratio * moved + additive * noise[2], 0.0)
    return after


def predicted(after: FloatArray, bounds: FloatArray, limit: float) -> Predicted:
    """The figures of a row from its draws.

    Parameters
    ----------
    after : array, shape (draws,)
        From `after_draws`. [V/m, mV or nT]
    bounds : array, shape (3,)
        b1 < b2 < b3 of the guideline. [same]
    limit : float
        T, the upper limit of the target band. [same]

    Returns
    -------
    Predicted

    References
    ----------
    Rules prediction-1 and band-1.
    """
    low, median, high = np.quantile(after, [0.025, 0.5, 0.975])
    bands = np.full(4, np.nan)
    if not np.isnan(bounds).any():
        bands = np.bincount(band(after, bounds), minlength=5)[1:] / after.size
    return Predicted(
        float(median), float(low), float(high), bands, probability_under_limit(after, limit)
    )


def probability_under_limit(after: FloatArray, limit: float) -> float:
    """The share of the draws under T; NaN without one. [1]"""
    return float(np.mean(after < limit)) if not np.isnan(limit) else float("nan")


def may_rise(after: FloatArray, before: float) -> bool:
    """Whether more than half of the draws lie above the finding.

    Parameters
    ----------
    after : array, shape (draws,)
        [V/m, mV or nT]
    before : float
        B. [same]

    References
    ----------
    Rule prediction-1.
    """
    return bool(np.mean(after > before) > 0.5)
