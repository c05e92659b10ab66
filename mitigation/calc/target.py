"""Rule target-2: is the field under the limit, and how sure is that."""

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from scipy.special import log_ndtr, ndtr

from surveys.calc.arrays import SAME, BoolArray, CodeArray, FloatArray
from surveys.calc.qualifiers import Qualifier

TARGET = "target-2"
FLAG_TOO_COARSE = "instrument too coarse for this target"

GUARD_FACTOR = 2.0
"""w = 2·u(T)."""

TARGET_BANDS = (1, 2)

SMALLEST_MARGIN = 40.0
"""Further than this above the limit the probability is less than a float can hold."""


class Decision(IntEnum):
    """The five answers; `DECISION_WORDS` turns a code into its word."""

    PASS = 0
    CONDITIONAL_PASS = 1
    CONDITIONAL_FAIL = 2
    FAIL = 3
    UNDECIDED = 4


DECISION_WORDS = ("pass", "conditional-pass", "conditional-fail", "fail", "undecided")

MET = frozenset({"pass", "conditional-pass"})
MISSED = frozenset({"conditional-fail", "fail"})


@dataclass(frozen=True)
class Judgements:
    """Each after value against its target.

    Attributes
    ----------
    decision : array of int8, shape (n,)
        Codes of `Decision`.
    probability : array, shape (n,)
        That the true value is under the limit; NaN where that can't be said. [1]
    too_coarse : array of bool, shape (n,)
        Where the guard band leaves no room to pass.
    """

    decision: CodeArray
    probability: FloatArray
    too_coarse: BoolArray


def target_limit(bounds: FloatArray, target_band: int) -> FloatArray:
    """The upper limit T that a target band stands for.

    Parameters
    ----------
    bounds : array, shape (3,) or (n, 3)
        b1 < b2 < b3 of the guideline. [V/m, mV or nT]
    target_band : int
        1 or 2.

    Returns
    -------
    array, shape () or (n,)
        T. [unit of `bounds`]

    Raises
    ------
    ValueError
        If the band is neither 1 nor 2.

    References
    ----------
    Rule target-2.
    """
    if target_band not in TARGET_BANDS:
        raise ValueError("the target band is 1 or 2")
    limits: FloatArray = np.asarray(bounds, dtype=np.float64)[..., target_band - 1]
    return limits


def probability_under(value: FloatArray, u: FloatArray, limit: FloatArray | float) -> FloatArray:
    """Probability that the true value is under the limit.

    Parameters
    ----------
    value, u : array, shape (n,)
        E and its standard uncertainty. [V/m, mV or nT] Zero or more.
    limit : array, shape (n,), or float
        T. [same] Above zero.

    Returns
    -------
    array, shape (n,)
        P in [0, 1].

    Notes
    -----
    P = [Φ((T−E)/u) − Φ(−E/u)] / [1 − Φ(−E/u)], a normal distribution truncated at zero. With
    1 − Φ(x) = Φ(−x) this is 1 − Φ((E−T)/u)/Φ(E/u), which keeps its digits where P is large;
    where P is small the difference is taken between logarithms. Without any uncertainty P is 1
    below the limit and 0 from it on.

    References
    ----------
    Rule target-2. JCGM 106:2012, clause 7.
    """
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        height = np.asarray(value / u)
        margin = np.asarray((limit - value) / u)
    probability = 1.0 - ndtr(-margin) / ndtr(height)
    rows = np.flatnonzero((margin < 0.0) & (margin > -SMALLEST_MARGIN))
    if rows.size:
        left = log_ndtr(margin[rows])
        gap = -np.expm1(np.minimum(log_ndtr(-height[rows]) - left, 0.0))
        probability[rows] = np.exp(left) * gap / ndtr(height[rows])
    sharp = u == 0.0
    if np.any(sharp):
        probability = np.where(sharp, value < limit, probability)
    return np.asarray(probability, dtype=np.float64)


def judge(
    value: FloatArray,
    lower: FloatArray,
    qualifier: CodeArray,
    u: FloatArray,
    limit: FloatArray,
    u_at_limit: FloatArray,
    partial: BoolArray,
    certified: BoolArray,
    faulty_ground: BoolArray,
) -> Judgements:
    """Conformity of each after value with its target, by a guarded, non-binary rule.

    Parameters
    ----------
    value, lower : array, shape (n,)
        From `resultants`. [V/m, mV or nT] `value` NaN = not measured.
    qualifier : array of int8, shape (n,)
        Codes of `Qualifier`.
    u : array, shape (n,)
        Standard uncertainty at `value`. [same]
    limit : array, shape (n,)
        T. [same]
    u_at_limit : array, shape (n,)
        uncertainty-1 at E = T on the instrument of the after value. [same]
    partial : array of bool, shape (n,)
        Read on one or two axes.
    certified : array of bool, shape (n,)
        Read on an instrument with a certificate in force.
    faulty_ground : array of bool, shape (n,)
        Read against a ground point that was found faulty at the visit.

    Returns
    -------
    Judgements, n rows

    Notes
    -----
    w = 2·u(T). pass E < T−w; conditional-pass T−w ≤ E < T; conditional-fail T ≤ E ≤ T+w;
    fail E > T+w. "<" and "≤" are judged on the upper bound, and undecided when that does not pass
    but the lower bound would; ">" is judged on the lower bound, and undecided when that passes.
    A pass on one or two axes is a conditional-pass. Undecided without a certificate in force,
    without a value and against a faulty ground point. The probability needs a value without a
    qualifier, a certificate and a ground point that is not faulty.

    References
    ----------
    Rule target-2. ILAC-G8:09/2019 (non-binary statement with a guard band).
    """
    guard = GUARD_FACTOR * u_at_limit
    decision = _decide(value, limit, guard)
    measured = ~np.isnan(value)
    decidable = measured & certified & ~faulty_ground
    rows = np.flatnonzero(qualifier)
    if rows.size:
        passes = decision[rows] <= Decision.CONDITIONAL_PASS
        would = _decide(lower[rows], limit[rows], guard[rows]) <= Decision.CONDITIONAL_PASS
        open_end = qualifier[rows] == Qualifier.ABOVE
        decision[rows[np.where(open_end, passes, would & ~passes)]] = Decision.UNDECIDED
    decision[(decision == Decision.PASS) & partial] = Decision.CONDITIONAL_PASS
    decision[~decidable] = Decision.UNDECIDED

    probability = probability_under(value, u, limit)
    probability[~decidable] = np.nan
    probability[rows] = np.nan
    return Judgements(decision, probability, guard >= limit * (1.0 - SAME))


def _decide(value: FloatArray, limit: FloatArray, guard: FloatArray) -> CodeArray:
    """The four answers for a plain number; codes ascend with the value."""
    slack = SAME * limit
    code = (value >= limit - guard - slack).astype(np.int8)
    code += value >= limit - slack
    code += value > limit + guard + slack
    return code
