"""Rule safety: readings at which an assessor stops."""

from collections.abc import Sequence

import numpy as np

from surveys.calc.arrays import BoolArray, CodeArray, FloatArray
from surveys.calc.measurands import Measurand
from surveys.calc.qualifiers import Qualifier

SAFETY = "safety"

GROUND_POINT_LIMIT_V = 50.0
OUTLET_FAULT = "fault"

LOWEST_HZ = 1.0
HIGHEST_HZ = 3000.0


def electric_limit_v_per_m(frequency_hz: FloatArray | float) -> FloatArray:
    """General public's reference level of the electric field.

    Parameters
    ----------
    frequency_hz : float or array, shape (n,)
        f. [Hz] 1 to 3000.

    Returns
    -------
    array, shape of `frequency_hz`
        [V/m, rms] 5 kV/m up to 50 Hz, 250/f kV/m above (4167 V/m at 60 Hz, rounded).

    Raises
    ------
    ValueError
        If a frequency is outside 1 to 3000 Hz.

    References
    ----------
    ICNIRP 2010, Health Physics 99(6):818-836, table 4.
    """
    frequency = _checked(frequency_hz)
    return np.where(frequency <= 50.0, 5000.0, 250e3 / frequency)


def magnetic_limit_nt(frequency_hz: FloatArray | float) -> FloatArray:
    """General public's reference level of the magnetic flux density.

    Parameters
    ----------
    frequency_hz : float or array, shape (n,)
        f. [Hz] 1 to 3000.

    Returns
    -------
    array, shape of `frequency_hz`
        [nT, rms] 200 µT from 25 to 400 Hz, 0.08/f T above; below 25 Hz 0.005/f T and below
        8 Hz 0.04/f² T (these two from memory; they join the rest without a step).

    Raises
    ------
    ValueError
        If a frequency is outside 1 to 3000 Hz.

    References
    ----------
    ICNIRP 2010, Health Physics 99(6):818-836, table 4.
    """
    frequency = _checked(frequency_hz)
    tesla = np.select(
        [frequency < 8.0, frequency < 25.0, frequency <= 400.0],
        [0.04 / frequency**2, 0.005 / frequency, np.full_like(frequency, 200e-6)],
        0.08 / frequency,
    )
    return np.asarray(tesla * 1e9)


def reference_level(measurand: Measurand, frequency_hz: float) -> float:
    """The reference level that belongs to a measurand, NaN for body voltage, which has none.

    Parameters
    ----------
    measurand : Measurand
    frequency_hz : float
        Of the mains. [Hz] 1 to 3000.

    Returns
    -------
    float
        [V/m or nT]

    Raises
    ------
    ValueError
        If the frequency is outside 1 to 3000 Hz.

    References
    ----------
    Rule safety.
    """
    if measurand is Measurand.BODY_VOLTAGE:
        return float("nan")
    if measurand is Measurand.MAGNETIC_FLUX_DENSITY:
        return float(magnetic_limit_nt(frequency_hz))
    return float(electric_limit_v_per_m(frequency_hz))


def above_reference_level(
    value: FloatArray, qualifier: CodeArray, level: FloatArray | float
) -> BoolArray:
    """Readings that stop the survey.

    Parameters
    ----------
    value : array, shape (n,)
        From `resultants`. [V/m or nT]
    qualifier : array of int8, shape (n,)
        Codes of `Qualifier`.
    level : float or array, shape (n,)
        From `reference_level`; NaN = none. [unit of `value`]

    Returns
    -------
    array of bool, shape (n,)
        E > level; a reading that says "more than the level" is above it too.

    References
    ----------
    Rule safety.
    """
    beyond = np.greater_equal(value, level) & np.equal(qualifier, Qualifier.ABOVE)
    return np.greater(value, level) | beyond


def ground_points_differ(voltage_v: FloatArray) -> BoolArray:
    """Voltages between two ground points that stop the survey.

    Parameters
    ----------
    voltage_v : array, shape (n,)
        [V] NaN = not measured.

    Returns
    -------
    array of bool, shape (n,)
        More than 50 V, either way round.

    References
    ----------
    Rule safety.
    """
    return np.greater(np.abs(voltage_v), GROUND_POINT_LIMIT_V)


def outlet_faulty(outlet_test: Sequence[str]) -> BoolArray:
    """Outlet tests that stop the survey.

    Parameters
    ----------
    outlet_test : sequence of str, length n
        "ok", "fault" or "not tested"; empty = not given.

    Returns
    -------
    array of bool, shape (n,)

    References
    ----------
    Rule safety.
    """
    return np.array([word == OUTLET_FAULT for word in outlet_test], dtype=np.bool_)


def _checked(frequency_hz: FloatArray | float) -> FloatArray:
    """The frequencies as an array, refused where the reference levels used here do not reach."""
    frequency = np.asarray(frequency_hz, dtype=np.float64)
    if not ((frequency >= LOWEST_HZ) & (frequency <= HIGHEST_HZ)).all():
        raise ValueError("a frequency is outside 1 to 3000 Hz")
    return frequency
