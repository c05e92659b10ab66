"""Rule attribution-1: every solution that fits the readings of an axis, found from many starts."""

import numpy as np

from mitigation.calc.trials import BOX, AxisTrial, ComplexArray, phasors, residuals, slopes
from surveys.calc.arrays import FloatArray

MOST_STEPS = 60
_SETTLED = 1e-4  # relative gain of a step that changes nothing any more
_STUCK = 1e10


def starts(trial: AxisTrial, n: int, rng: np.random.Generator) -> FloatArray:
    """Parameters to begin from, built from the readings.

    Parameters
    ----------
    trial : AxisTrial
        With at least one reading of "all on".
    n : int
        How many.
    rng : numpy.random.Generator

    Returns
    -------
    array, shape (n, m + 2)
        Amplitudes, Re e, Im e. [V/m or mV]

    Notes
    -----
    The phasor of "all on" at a random angle; then each part that is alone unknown in a reading is
    one of the two roots of |T − a·exp(i·φ)| = m. Random starts alone miss the best solution on one
    axis of eight with eight sources.

    References
    ----------
    Rule attribution-1.
    """
    m = trial.on.shape[1]
    all_on = trial.on.all(axis=1)
    size = float(trial.reading[all_on].mean())
    whole: ComplexArray = size * np.exp(1j * rng.uniform(0.0, 2.0 * np.pi, n))
    parts = rng.uniform(-1.0, 1.0, (n, m)) * trial.largest
    solved: set[int] = set()
    for row in np.argsort((~trial.on).sum(axis=1), kind="stable"):
        off = set(np.flatnonzero(~trial.on[row]).tolist())
        if len(off - solved) != 1:
            continue
        (part,) = off - solved
        rest = whole - sum(parts[:, other] * trial.phase[other] for other in off & solved)
        along = (rest * np.conj(trial.phase[part])).real
        under_root = along**2 - (np.abs(rest) ** 2 - trial.reading[row] ** 2)
        root = np.sqrt(np.maximum(under_root, 0.0))
        parts[:, part] = along + root * rng.choice([-1.0, 1.0], n)
        solved.add(part)
    outside = whole - parts @ trial.phase
    box = BOX * trial.largest
    return np.clip(np.column_stack([parts, outside.real, outside.imag]), -box, box)


def refined(trial: AxisTrial, begin: FloatArray, u: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The nearest least squares from each start, all starts at once.

    Parameters
    ----------
    trial : AxisTrial
    begin : array, shape (s, m + 2)
        [V/m or mV]
    u : array, shape (n,)
        Standard uncertainty of each reading. [V/m or mV]

    Returns
    -------
    array, shape (s, m + 2)
        Parameters within the box. [V/m or mV]
    array, shape (s,)
        Chi-square of each. [1]

    References
    ----------
    Rule attribution-1. Levenberg-Marquardt with the damping of each start by itself.
    """
    at, box = begin.copy(), BOX * trial.largest
    summed = phasors(trial, at)
    residual = residuals(trial, np.abs(summed), u)
    chi2 = (residual**2).sum(axis=1)
    damping, calm = np.full(len(at), 1e-2), np.zeros(len(at), dtype=np.int64)
    open_rows = np.arange(len(at))
    for _step in range(MOST_STEPS):
        slope = slopes(trial, summed[open_rows], residual[open_rows], u)
        step = _damped_step(slope, residual[open_rows], damping[open_rows])
        to = np.clip(at[open_rows] + step, -box, box)
        to_summed = phasors(trial, to)
        to_residual = residuals(trial, np.abs(to_summed), u)
        to_chi2 = (to_residual**2).sum(axis=1)
        better = to_chi2 < chi2[open_rows]
        gain = np.where(better, chi2[open_rows] - to_chi2, 0.0)
        is_calm = better & (gain < _SETTLED * (1.0 + chi2[open_rows]))
        rows = open_rows[better]
        at[rows], summed[rows] = to[better], to_summed[better]
        residual[rows], chi2[rows] = to_residual[better], to_chi2[better]
        damping[open_rows] *= np.where(better, 0.2, 8.0)
        calm[open_rows] = np.where(
            is_calm, calm[open_rows] + 1, np.where(better, 0, calm[open_rows])
        )
        open_rows = open_rows[(calm[open_rows] < 2) & (damping[open_rows] < _STUCK)]
        if not open_rows.size:
            break
    return at, chi2


def _damped_step(slope: FloatArray, residual: FloatArray, damping: FloatArray) -> FloatArray:
    normal = np.einsum("sni,snj->sij", slope, slope)
    downhill = -np.einsum("sni,sn->si", slope, residual)
    diagonal = np.einsum("sii->si", normal)
    mean = diagonal.mean(axis=1, keepdims=True) + 1e-30
    every = np.arange(normal.shape[1])
    normal[:, every, every] += damping[:, None] * (diagonal + 1e-3 * mean) + 1e-12 * mean
    step: FloatArray = np.linalg.solve(normal, downhill[..., None])[..., 0]
    return step


def distinct(
    trial: AxisTrial, at: FloatArray, chi2: FloatArray, *, within: float, most: int
) -> FloatArray:
    """The solutions that differ, best first: rows of `at`, at most `most` of them.

    Parameters
    ----------
    trial : AxisTrial
    at : array, shape (s, m + 2)
        [V/m or mV]
    chi2 : array, shape (s,)
    within : float
        How much worse than the best one a solution may be. [1]
    most : int

    Returns
    -------
    array, shape (k, m + 2)
        [V/m or mV]

    References
    ----------
    Rule attribution-1.
    """
    order = np.argsort(chi2, kind="stable")
    kept: list[int] = []
    for row in order[chi2[order] <= chi2[order[0]] + within]:
        far = np.abs(at[row] - at[kept]).max(axis=1) > 0.02 * trial.largest if kept else np.ones(1)
        if far.all():
            kept.append(int(row))
        if len(kept) == most:
            break
    return at[kept]
