"""Rule reduction-2: how much of a field is gone, and how sure that is."""

from dataclasses import dataclass

import numpy as np

from surveys.calc.arrays import BoolArray, CodeArray, FloatArray
from surveys.calc.qualifiers import Qualifier

REDUCTION = "reduction-2"

COVERAGE_FACTOR = 2.0
FIELD_DECIBEL = 20.0
"""These are field quantities; 10·log10 holds for power only."""

WIDEST_EXPONENT = 300.0
"""An interval wider than this, a factor of 10¹³⁰, is cut there to keep its ends finite."""


@dataclass(frozen=True)
class Side:
    """One visit's values of the spots compared.

    Attributes
    ----------
    value : array, shape (n,)
        From `resultants`. [V/m, mV or nT] NaN = not measured.
    qualifier : array of int8, shape (n,)
        Codes of `Qualifier`.
    gain : array, shape (n,)
        g of the instrument. [1]
    additive : array, shape (n,)
        a of the instrument. [unit of `value`]
    """

    value: FloatArray
    qualifier: CodeArray
    gain: FloatArray
    additive: FloatArray


@dataclass(frozen=True)
class Reductions:
    """The change at each spot; all figures are NaN where there is none to give.

    Attributes
    ----------
    percent, percent_low, percent_high : array, shape (n,)
        [%] 100 is all gone, 0 no change, negative a rise.
    db, db_low, db_high : array, shape (n,)
        [dB] Negative is a rise.
    at_least : array of bool, shape (n,)
        The change is at least this large; only the end of the interval that is nearer to 0 is to
        be printed: the low end of a reduction, the high end of a rise.
    real : array of bool, shape (n,)
        The interval leaves no change out.
    given : array of bool, shape (n,)
        False where the reduction is null.
    sigma : array, shape (n,)
        Standard uncertainty of ln(A/B). [1]
    """

    percent: FloatArray
    percent_low: FloatArray
    percent_high: FloatArray
    db: FloatArray
    db_low: FloatArray
    db_high: FloatArray
    at_least: BoolArray
    real: BoolArray
    given: BoolArray
    sigma: FloatArray


def reductions(
    before: Side, after: Side, placement: FloatArray | float, shared: BoolArray
) -> Reductions:
    """Reduction of the field at each spot, with its 95 % interval.

    Parameters
    ----------
    before, after : Side, n rows
        The same measurand at the same spots.
    placement : array, shape (n,), or float
        p, relative standard uncertainty of putting the probe back. [1]
    shared : array of bool, shape (n,)
        Both read on the same instrument under the same certificate: its gain error cancels.

    Returns
    -------
    Reductions, n rows

    Notes
    -----
    percent = 100·(1 − A/B), dB = 20·log10(B/A), interval A/B·exp(±2σ) with
    σ² = 2p² + (a_B/B)² + (a_A/A)² + (0 if shared, else g_B² + g_A²).
    One side a bound that lets the change be larger only: "at least", from the bounds. A reduction
    is that after "<" or "≤" with before "" or ">", and before ">" with after ""; null when it is
    not above 0 %. A rise is that after ">" with before "", "<" or "≤", and before "<" or "≤" with
    after ""; null when it is not below 0 %. Null where the truth may lie either way: before ">" and
    after ">", before and after "<" or "≤". A value that is zero or missing gives null.

    References
    ----------
    Rule reduction-2. JCGM 100:2008, 5.1.2 on ln(A/B); 5.2.2 for the shared gain.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = after.value / before.value
        sigma = _sigma(before, after, placement, shared)
        exponent = COVERAGE_FACTOR * sigma
        spread = np.exp(np.minimum(exponent, WIDEST_EXPONENT))
        falls = _bounded_above(after) | np.equal(before.qualifier, Qualifier.ABOVE)
        rises = _bounded_above(before) | np.equal(after.qualifier, Qualifier.ABOVE)
        at_least = falls | rises
        given = (before.value > 0.0) & (after.value > 0.0) & ~(falls & rises)
        given &= ~falls | (ratio < 1.0)
        given &= ~rises | (ratio > 1.0)
        ratio[~given] = np.nan
        db = -FIELD_DECIBEL * np.log10(ratio)
        db_spread = exponent * (FIELD_DECIBEL / np.log(10.0))
        percent_low = 100.0 * (1.0 - ratio * spread)
        percent_high = 100.0 * (1.0 - ratio / spread)
    return Reductions(
        percent=100.0 * (1.0 - ratio),
        percent_low=percent_low,
        percent_high=percent_high,
        db=db,
        db_low=db - db_spread,
        db_high=db + db_spread,
        at_least=at_least & given,
        real=(percent_low > 0.0) | (percent_high < 0.0),
        given=given,
        sigma=sigma,
    )


def _sigma(
    before: Side, after: Side, placement: FloatArray | float, shared: BoolArray
) -> FloatArray:
    """Standard uncertainty of ln(A/B)."""
    variance = np.asarray((before.additive / before.value) ** 2)
    variance += (after.additive / after.value) ** 2
    variance += 2.0 * np.square(placement)
    variance += np.where(shared, 0.0, before.gain**2 + after.gain**2)
    return np.sqrt(variance, out=variance)


def _bounded_above(side: Side) -> BoolArray:
    """Where the truth is only known to be under or not over the value."""
    return np.equal(side.qualifier, Qualifier.BELOW) | np.equal(side.qualifier, Qualifier.AT_MOST)
