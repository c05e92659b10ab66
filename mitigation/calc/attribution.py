"""Rule attribution-1: what each source adds at a spot, from a switching trial."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import chdtri

from mitigation.calc.fits import distinct, refined, starts
from mitigation.calc.posterior import draws
from mitigation.calc.trials import AxisTrial, ComplexArray
from surveys.calc.arrays import FloatArray

ATTRIBUTION = "attribution-1"

MODEL_ERRORS = (0.0, 0.005, 0.01, 0.02, 0.04, 0.08, 0.16)
"""δ is the smallest of these at which the model fits. [1]"""

ASSUMED_MODEL_ERROR = 0.04
"""δ where too few states were read to find it out. [1]"""

LEAST_FREEDOM = 3
"""Degrees of freedom of an axis below which the model cannot be checked."""

DRAWS = 4_000
_STARTS = 96
_SOLUTIONS = 40
_WITHIN = 30.0  # of chi-square: what fits worse weighs nothing


@dataclass(frozen=True)
class Attribution:
    """What a trial says of one spot and measurand.

    Attributes
    ----------
    phase : array of complex, shape (m,)
        exp(i·φ) of each part. [1]
    parts : array, shape (axes, draws, m)
        Amplitude of each part, with its sign. [V/m or mV]
    outside : array of complex, shape (axes, draws)
        What nothing takes off. [V/m or mV]
    model_error : float
        δ. [1]
    checkable : bool
        Whether enough states were read to find δ out.
    """

    phase: ComplexArray
    parts: FloatArray
    outside: ComplexArray
    model_error: float
    checkable: bool

    def field(self, left: FloatArray | None = None) -> FloatArray:
        """The resultant where `left` of each part is left, draw by draw.

        Parameters
        ----------
        left : array, shape (m,) or (draws, m), optional
            κ of each part, 0 to 1; without it everything is on. [1]

        Returns
        -------
        array, shape (draws,)
            [V/m or mV]

        References
        ----------
        Rule attribution-1; resultant-1 over the axes.
        """
        weighted = self.parts if left is None else self.parts * left
        # In two real sums: a complex product of matrices waits for threads on a busy machine.
        real = np.einsum("adp,p->ad", weighted, self.phase.real) + self.outside.real
        imaginary = np.einsum("adp,p->ad", weighted, self.phase.imag) + self.outside.imag
        return np.asarray(np.sqrt((real**2 + imaginary**2).sum(axis=0)))

    def contributions(self) -> tuple[FloatArray, FloatArray]:
        """What each part, and what stays, adds to the field with everything on.

        Returns
        -------
        array, shape (draws, m)
            [V/m or mV] Below zero: the part cancels others, and the field rises without it.
        array, shape (draws,)
            [V/m or mV] What no switch removes. All of a draw add up to its field.

        Notes
        -----
        The part of a phasor along the sum: Σ Re(conj(Z)·z_c)/E over the axes, dE/dκ at κ = 1. As E
        is homogeneous of degree one, these add up to E (Euler).

        References
        ----------
        Rule attribution-1.
        """
        each = self.parts * self.phase
        whole = each.sum(axis=2) + self.outside
        size = np.maximum(np.sqrt((np.abs(whole) ** 2).sum(axis=0)), 1e-300)
        along = (np.conj(whole)[..., None] * each).real.sum(axis=0) / size[:, None]
        outside = (np.conj(whole) * self.outside).real.sum(axis=0) / size
        return np.asarray(along), np.asarray(outside)


def attribute(axes: Sequence[AxisTrial], rng: np.random.Generator) -> Attribution | None:
    """Draws of every source's part from a trial.

    Parameters
    ----------
    axes : sequence of AxisTrial
        One to three, of the same parts; each with a reading of "all on".
    rng : numpy.random.Generator
        The same generator gives the same draws.

    Returns
    -------
    Attribution or None
        None where the house does not obey the model even with the largest δ: a misfit.

    Raises
    ------
    ValueError
        Without an axis, or where an axis has no reading with everything on.

    Notes
    -----
    δ is the smallest of `MODEL_ERRORS` at which the least chi-square, summed over the axes, is not
    above its median for the degrees of freedom; 4 % where an axis has fewer than three.

    References
    ----------
    Rule attribution-1.
    """
    if not axes or not all(axis.on.all(axis=1).any() for axis in axes):
        raise ValueError("each axis of a trial needs a reading with everything on")
    pools = [starts(axis, _STARTS, rng) for axis in axes]
    freedom = [axis.degrees_of_freedom for axis in axes]
    checkable = min(freedom) >= LEAST_FREEDOM
    wanted = MODEL_ERRORS if checkable else (ASSUMED_MODEL_ERROR,)
    most = float(chdtri(sum(freedom), 0.5)) if checkable else np.inf
    for model_error in wanted:
        fitted = [
            refined(axis, pool, axis.u(model_error)) for axis, pool in zip(axes, pools, strict=True)
        ]
        pools = [at for at, _chi2 in fitted]
        if sum(float(chi2.min()) for _at, chi2 in fitted) <= most:
            break
    else:
        return None
    drawn = [
        draws(
            axis,
            distinct(axis, at, chi2, within=_WITHIN, most=_SOLUTIONS),
            axis.u(model_error),
            DRAWS,
            rng,
        )
        for axis, (at, chi2) in zip(axes, fitted, strict=True)
    ]
    m = axes[0].on.shape[1]
    whole = np.stack(drawn)
    return Attribution(
        phase=axes[0].phase,
        parts=whole[:, :, :m],
        outside=whole[:, :, m] + 1j * whole[:, :, m + 1],
        model_error=model_error,
        checkable=checkable,
    )
