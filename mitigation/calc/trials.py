"""Rule attribution-1: what is known of one axis of a switching trial, and how well it was read."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from surveys.calc.arrays import BoolArray, CodeArray, FloatArray
from surveys.calc.resultant import MARK_ABOVE, MARK_BELOW

ComplexArray = NDArray[np.complex128]

LEAST_REPEATABILITY = 0.01
"""Relative standard deviation of a field read twice with the probe untouched, at least."""

LEAST_REPEATABILITY_OF_BODY_VOLTAGE = 0.05

BOX = 4.0
"""Amplitudes are sought within so many times the largest reading of their axis."""


@dataclass(frozen=True)
class AxisTrial:
    """The readings of one axis of a trial, the probe left in place.

    Attributes
    ----------
    on : array of bool, shape (n, m)
        Which of the m parts was on in each of the n readings. A part is a tried source, or what a
        phase has beside the tried ones.
    phase : array of complex, shape (m,)
        exp(i·φ) of each part. [1]
    reading : array, shape (n,)
        What was read, or the bound that stands for it. [V/m or mV]
    mark : array of int8, shape (n,)
        `MARK_BELOW` or `MARK_ABOVE` where it is a bound, else `MARK_PLAIN`.
    spread : array, shape (n,)
        Standard uncertainty without model error, sqrt((r·m)² + a²). [V/m or mV]
    """

    on: BoolArray
    phase: ComplexArray
    reading: FloatArray
    mark: CodeArray
    spread: FloatArray

    @property
    def largest(self) -> float:
        """M, the largest reading. [V/m or mV]"""
        return float(self.reading.max())

    @property
    def n_parameters(self) -> int:
        """An amplitude for each part, and the real and imaginary part of what stays."""
        return int(self.on.shape[1]) + 2

    @property
    def degrees_of_freedom(self) -> int:
        return max(0, int(self.reading.size) - self.n_parameters)

    def u(self, model_error: float) -> FloatArray:
        """Standard uncertainty of each reading with the model error δ. [V/m or mV]"""
        return np.hypot(self.spread, model_error * self.largest)


def axis_trial(
    on: BoolArray,
    phase: ComplexArray,
    reading: FloatArray,
    mark: CodeArray,
    additive: FloatArray,
    least_repeatability: float,
) -> AxisTrial:
    """An axis with the uncertainty of its readings.

    Parameters
    ----------
    on, phase, reading, mark
        As in `AxisTrial`.
    additive : array, shape (n,)
        a of uncertainty-1. [V/m or mV]
    least_repeatability : float
        The smallest r: `LEAST_REPEATABILITY` or that of body voltage. [1]

    Returns
    -------
    AxisTrial

    Notes
    -----
    r is the repeatability of the readings with everything on. Gain and placement are common to all
    and drop out of ratios.

    References
    ----------
    Rule attribution-1.
    """
    r = repeatability(reading[on.all(axis=1) & (mark == 0)], least_repeatability)
    return AxisTrial(on, phase, reading, mark, np.hypot(r * reading, additive))


def repeatability(repeated: FloatArray, least: float) -> float:
    """r, the relative standard uncertainty of a reading with the probe untouched.

    Parameters
    ----------
    repeated : array, shape (n,)
        Readings with everything on, n may be 0. [V/m, mV or nT]
    least : float
        The smallest r. [1]

    Returns
    -------
    float
        [1] The largest relative deviation of the readings from their mean, where that is more;
        the smallest r where their mean is 0 or not finite.

    References
    ----------
    Rule attribution-1.
    """
    mean = float(repeated.mean()) if repeated.size else 0.0
    if not 0.0 < mean < np.inf:
        return least
    return max(least, float(np.abs(repeated / mean - 1.0).max()))


def phasors(trial: AxisTrial, parameters: FloatArray) -> ComplexArray:
    """The sum at each reading, e + Σ a_c·exp(i·φ_c) over what was on.

    Parameters
    ----------
    trial : AxisTrial
    parameters : array, shape (s, m + 2)
        Rows of m amplitudes, Re e and Im e. [V/m or mV]

    Returns
    -------
    array of complex, shape (s, n)
        [V/m or mV]

    References
    ----------
    Rule attribution-1. Phasors of one frequency add (quasi-static field).
    """
    m = trial.on.shape[1]
    summed = parameters[:, :m] @ (trial.on * trial.phase).T
    outside: ComplexArray = parameters[:, m] + 1j * parameters[:, m + 1]
    return np.asarray(summed + outside[:, None], dtype=np.complex128)


def residuals(trial: AxisTrial, magnitude: FloatArray, u: FloatArray) -> FloatArray:
    """How far the model is from each reading, in units of its uncertainty.

    Parameters
    ----------
    trial : AxisTrial
    magnitude : array, shape (s, n)
        What the meter should show. [V/m or mV]
    u : array, shape (n,)
        Standard uncertainty of each reading. [V/m or mV]

    Returns
    -------
    array, shape (s, n)
        "<L" counts only what lies over L, ">U" only what lies under U. [1]

    References
    ----------
    Rule attribution-1.
    """
    plain = (magnitude - trial.reading) / u
    over = np.where(trial.mark == MARK_BELOW, np.maximum(plain, 0.0), plain)
    return np.where(trial.mark == MARK_ABOVE, np.minimum(over, 0.0), over)


def slopes(
    trial: AxisTrial, summed: ComplexArray, residual: FloatArray, u: FloatArray
) -> FloatArray:
    """Derivatives of the residuals by the parameters.

    Parameters
    ----------
    trial : AxisTrial
    summed : array of complex, shape (s, n)
        From `phasors`. [V/m or mV]
    residual : array, shape (s, n)
        From `residuals`: a bound that is kept has no slope.
    u : array, shape (n,)
        [V/m or mV]

    Returns
    -------
    array, shape (s, n, m + 2)
        [m/V or 1/mV]

    References
    ----------
    Rule attribution-1; d|z| = Re(conj(z)·dz)/|z|.
    """
    size = np.maximum(np.abs(summed), 1e-12 * trial.largest)
    counts = (trial.mark == 0) | (residual != 0.0)
    direction = np.conj(summed) / size * (counts / u)
    by_part = (direction[:, :, None] * (trial.on * trial.phase)[None]).real
    outside = [direction.real[:, :, None], -direction.imag[:, :, None]]
    return np.concatenate([by_part, *outside], axis=2)
