"""Rule read-state-1: what a state that was read says of a plan, where nothing can be attributed."""

import numpy as np

from surveys.calc.arrays import FloatArray

READ_STATE = "read-state-1"


def single_ends(
    left: FloatArray, low: float, high: float, everything_on: float
) -> tuple[FloatArray, FloatArray]:
    """The ends between which the field lies if `left` of one source's contribution is left.

    Parameters
    ----------
    left : array, shape (draws,)
        κ of the source, 0 to 1. [1]
    low, high : float
        Bounds of E_A, the reading with just this source off. [V/m, mV or nT]
    everything_on : float
        E_on, the reading with everything on. [same]

    Returns
    -------
    array, shape (draws,)
        The lower end. [same]
    array, shape (draws,)
        The upper end. [same]

    Notes
    -----
    |(1 − κ)·E_A − κ·E_on| and (1 − κ)·E_A + κ·E_on. Exact for anything that adds, on any number of
    axes: the field is |(1 − κ)·z_A + κ·z_on|. A circuit with its appliances is one source.

    References
    ----------
    Rule read-state-1; the triangle inequality.
    """
    off_low, off_high, on = (1.0 - left) * low, (1.0 - left) * high, left * everything_on
    lower = np.maximum(np.maximum(off_low - on, on - off_high), 0.0)
    return lower, np.asarray(off_high + on)


def several_ends(
    left: FloatArray, low: float, high: float, everything_on: float, alone_off: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """The ends between which the field lies if something of several sources is left.

    Parameters
    ----------
    left : array, shape (draws, k)
        κ of each source, 0 to 1. [1]
    low, high : float
        Bounds of E_A, the reading with just these sources off. [V/m, mV or nT]
    everything_on : float
        E_on. [same]
    alone_off : array, shape (k,)
        E_c, the reading with source c alone off; NaN where it was not read. [same]

    Returns
    -------
    array, shape (draws,)
        The lower end, max(0, E_A − S). [same]
    array, shape (draws,)
        The upper end, E_A + S. [same]

    Notes
    -----
    S = Σ κ_c·(E_on + E_c), with E_A in the place of an E_c that was not read.

    References
    ----------
    Rule read-state-1; the triangle inequality.
    """
    most = everything_on + np.where(np.isnan(alone_off), high, alone_off)
    remainder = left @ most
    return np.maximum(low - remainder, 0.0), np.asarray(high + remainder)
