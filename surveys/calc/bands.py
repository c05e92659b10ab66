"""Rule band-1: where a value stands in a guideline."""

import numpy as np

from surveys.calc.arrays import SAME, BoolArray, CodeArray, FloatArray

BAND = "band-1"
FLAG_ON_BOUND = "on a bound"


def band(value: FloatArray, bounds: FloatArray) -> CodeArray:
    """The band of each value, 1 for the lowest to 4 for the highest.

    Parameters
    ----------
    value : array, shape (n,)
        E. [V/m, mV or nT]
    bounds : array, shape (3,) or (n, 3)
        b1 < b2 < b3 of the guideline for the measurand. [unit of `value`]

    Returns
    -------
    array of int8, shape (n,)
        1 if E < b1; 2 if b1 ≤ E < b2; 3 if b2 ≤ E ≤ b3; 4 if E > b3; 0 where E is NaN.

    Notes
    -----
    The published notation "<1, 1-5, 5-50, >50" fixes both ends; that a value on the inner bound
    takes the more cautious band is a choice of this rule. A difference of one part in 10¹² counts
    as none.

    References
    ----------
    Rule band-1.
    """
    first, second, third = _columns(bounds)
    code = (value >= first * (1.0 - SAME)).astype(np.int8)
    code += value >= second * (1.0 - SAME)
    code += value > third * (1.0 + SAME)
    code += ~np.isnan(value)
    return code


def on_bound(value: FloatArray, bounds: FloatArray) -> BoolArray:
    """Where a value equals one of the bounds, so that the band is a matter of the rule.

    Parameters
    ----------
    value : array, shape (n,)
        E. [V/m, mV or nT]
    bounds : array, shape (3,) or (n, 3)
        b1 < b2 < b3. [unit of `value`]

    Returns
    -------
    array of bool, shape (n,)

    References
    ----------
    Rule band-1.
    """
    first, second, third = _columns(bounds)
    return _equal(value, first) | _equal(value, second) | _equal(value, third)


def _columns(bounds: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """The three bounds, each one number for all or one a row."""
    limits = np.asarray(bounds, dtype=np.float64)
    first, second, third = limits[..., 0], limits[..., 1], limits[..., 2]
    return first, second, third


def _equal(value: FloatArray, bound: FloatArray) -> BoolArray:
    """Equal on paper: apart by no more than rounding."""
    return np.greater_equal(value, bound * (1.0 - SAME)) & np.less_equal(
        value, bound * (1.0 + SAME)
    )
