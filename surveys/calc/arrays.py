"""Names for the arrays that the rules take and return."""

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

FloatArray: TypeAlias = NDArray[np.float64]
IntArray: TypeAlias = NDArray[np.int64]
CodeArray: TypeAlias = NDArray[np.int8]
BoolArray: TypeAlias = NDArray[np.bool_]

# Two numbers that are equal on paper can differ in the last bits once they went through a root or
# a change of unit. Wherever a value is compared with a bound, this much of the bound is "equal".
SAME = 1e-12


def none_if_nan(value: float) -> float | None:
    """A number as rows and JSON have it, which know no NaN."""
    return None if np.isnan(value) else float(value)
