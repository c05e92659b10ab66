"""Rules uncertainty-1 and near-floor-1: how well a reading is known."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from types import MappingProxyType
from typing import Self

import numpy as np

from surveys.calc.arrays import BoolArray, CodeArray, FloatArray, IntArray
from surveys.calc.measurands import Measurand
from surveys.calc.qualifiers import Qualifier

UNCERTAINTY = "uncertainty-1"
NEAR_FLOOR = "near-floor-1"

FLAG_NEAR_FLOOR = "near the floor"
FLAG_UNDER_RANGE = "under the standard's range"

COVERAGE_FACTOR = 2.0
"""U = 2u."""

DEFAULT_PLACEMENT = 0.05
"""House assumption, relative standard uncertainty of putting the probe back in the same place."""

NEAR_FLOOR_MULTIPLE = 5.0

# IEC 61786-2 covers the measuring of public exposure from these values upward; none for body
# voltage, which is no field.
RANGE_START: Mapping[Measurand, float] = MappingProxyType(
    {
        Measurand.ELECTRIC_FIELD_GROUND: 1.0,
        Measurand.ELECTRIC_FIELD_POTENTIAL_FREE: 1.0,
        Measurand.BODY_VOLTAGE: float("nan"),
        Measurand.MAGNETIC_FLUX_DENSITY: 100.0,
    }
)


@dataclass(frozen=True)
class Instruments:
    """The data of the instrument behind each reading, in the measurand's own unit.

    Attributes
    ----------
    gain_percent : array, shape (n,)
        Expanded (k = 2) relative gain uncertainty of the certificate. [%]
    resolution : array, shape (n,)
        Full width of the last digit. [V/m, mV or nT]
    noise : array, shape (n,)
        Standard deviation, NaN = 0. [V/m, mV or nT]
    floor, ceiling : array, shape (n,)
        Ends of the range, NaN = not given. [V/m, mV or nT]
    """

    gain_percent: FloatArray
    resolution: FloatArray
    noise: FloatArray
    floor: FloatArray
    ceiling: FloatArray

    @cached_property
    def gain(self) -> FloatArray:
        """g, the relative standard uncertainty of the gain."""
        return self.gain_percent / (100.0 * COVERAGE_FACTOR)

    @cached_property
    def additive(self) -> FloatArray:
        """a = sqrt(resolution²/12 + noise²), the part that does not grow with the field."""
        return additive(self.resolution, self.noise)

    def take(self, rows: IntArray) -> Self:
        """The instruments of these rows."""
        return type(self)(
            self.gain_percent[rows],
            self.resolution[rows],
            self.noise[rows],
            self.floor[rows],
            self.ceiling[rows],
        )


def additive(resolution: FloatArray, noise: FloatArray) -> FloatArray:
    """Standard uncertainty that does not grow with the field, a.

    Parameters
    ----------
    resolution : array, shape (n,)
        Full width of the last digit. [V/m, mV or nT]
    noise : array, shape (n,)
        Standard deviation. [V/m, mV or nT] NaN = 0.

    Returns
    -------
    array, shape (n,)
        a, with a² = resolution²/12 + noise². [V/m, mV or nT]

    References
    ----------
    Rule uncertainty-1. JCGM 100:2008, F.2.2.1: the resolution as a rectangle of its full width.
    """
    square = resolution * resolution
    square /= 12.0
    quiet = np.nan_to_num(noise, nan=0.0)
    square += quiet * quiet
    return np.sqrt(square)


def standard_uncertainty(
    value: FloatArray,
    gain: FloatArray | float,
    placement: FloatArray | float,
    additive: FloatArray | float,
) -> FloatArray:
    """Standard uncertainty of a value that was read on one instrument.

    Parameters
    ----------
    value : array, shape (n,)
        E. [V/m, mV or nT] Zero or more.
    gain : array, shape (n,), or float
        g, relative standard uncertainty of the gain: that of the certificate divided by two. [1]
    placement : array, shape (n,), or float
        p, relative standard uncertainty of putting the probe back. [1]
    additive : array, shape (n,), or float
        a. [unit of `value`]

    Returns
    -------
    array, shape (n,)
        u, with u² = (g·E)² + (p·E)² + a²; the expanded one is twice that. [unit of `value`]

    References
    ----------
    Rule uncertainty-1. JCGM 100:2008, 5.1.2; the gain is common to the three axes and scales the
    resultant, and equal independent errors a on each axis give a on the resultant.
    """
    relative = np.asarray(gain * gain + placement * placement)
    square = relative * (value * value)
    square += additive * additive
    return np.sqrt(square, out=square)


def near_floor(value: FloatArray, additive: FloatArray, qualifier: CodeArray) -> BoolArray:
    """Where the resultant of noisy axes is biased upward and first-order propagation fails.

    Parameters
    ----------
    value, additive : array, shape (n,)
        E and a. [V/m, mV or nT]
    qualifier : array, shape (n,)
        Codes of `Qualifier`. What is only known to be above a value is never near.

    Returns
    -------
    array of bool, shape (n,)
        E < 5a.

    References
    ----------
    Rule near-floor-1. JCGM 102:2011, 9.3.
    """
    return np.less(value, NEAR_FLOOR_MULTIPLE * additive) & np.not_equal(qualifier, Qualifier.ABOVE)


def under_range(
    value: FloatArray, range_start: FloatArray | float, qualifier: CodeArray
) -> BoolArray:
    """Where a finding lies below the range of the measuring standard.

    Parameters
    ----------
    value : array, shape (n,)
        E. [V/m, mV or nT]
    range_start : array, shape (n,), or float
        From `RANGE_START`; NaN = the standard has no range for it. [unit of `value`]
    qualifier : array, shape (n,)
        Codes of `Qualifier`. What is only known to be above a value is never under.

    Returns
    -------
    array of bool, shape (n,)
        E < start.

    References
    ----------
    Rule near-floor-1. IEC 61786-2: from 1 V/m and 100 nT.
    """
    return np.less(value, range_start) & np.not_equal(qualifier, Qualifier.ABOVE)
