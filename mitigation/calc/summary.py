"""The count of a case."""

import numpy as np

from mitigation.calc.target import Decision
from surveys.calc.arrays import BoolArray, CodeArray, FloatArray


def summarise(decision: CodeArray, percent: FloatArray, real: BoolArray) -> dict[str, int]:
    """How many spots met their target, did not, are undecided, and became worse.

    Parameters
    ----------
    decision : array of int8, shape (n,)
        Codes of `Decision`, one a spot and measurand.
    percent : array, shape (n,)
        Reduction. [%] NaN where it is null.
    real : array of bool, shape (n,)
        From `reductions`.

    Returns
    -------
    dict
        spots, met (pass and conditional-pass), not_met (conditional-fail and fail), undecided,
        worse (real rises).
    """
    met = decision <= Decision.CONDITIONAL_PASS
    undecided = decision == Decision.UNDECIDED
    return {
        "spots": int(decision.size),
        "met": int(np.count_nonzero(met)),
        "not_met": int(np.count_nonzero(~met & ~undecided)),
        "undecided": int(np.count_nonzero(undecided)),
        "worse": int(np.count_nonzero((percent < 0.0) & real)),
    }
