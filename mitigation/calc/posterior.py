"""Rule attribution-1: draws from every solution that fits, each with its weight.

Adaptive importance sampling in polar coordinates of what stays: a mixture of t densities around
the solutions, refined round by round where the weights are, all rounds weighted by the mixture of
all. Where that does not settle, the draws walk on by their own differences.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import gammaln

from mitigation.calc.trials import BOX, AxisTrial, phasors, residuals, slopes
from surveys.calc.arrays import FloatArray

FREEDOM = 5.0  # of the t densities
PER_ROUND = 1500
ENOUGH = 400.0
"""Effective number of draws at which the sampling ends."""
MOST_ROUNDS = 16
WALK_STEPS = 150
_ADDED = 24  # components of a round that stand where the weights are
_WIDER = 1.3  # than the curvature at a solution says


@dataclass(frozen=True)
class _Mixture:
    """t densities: centre, Cholesky factor of the precision, and weight of each."""

    centre: FloatArray
    factor: FloatArray
    weight: FloatArray

    def draw(self, n: int, rng: np.random.Generator) -> FloatArray:
        component = np.sort(rng.choice(len(self.weight), n, p=self.weight))
        normal = rng.standard_normal((n, self.centre.shape[1]))
        stretch = np.sqrt(FREEDOM / rng.chisquare(FREEDOM, n))
        turned = np.swapaxes(self.factor, 1, 2)[component]
        offset = np.linalg.solve(turned, normal[..., None])[..., 0]
        return np.asarray(self.centre[component] + offset * stretch[:, None])

    def log_density(self, at: FloatArray) -> FloatArray:
        d = at.shape[1]
        constant = gammaln((FREEDOM + d) / 2) - gammaln(FREEDOM / 2)
        constant -= d / 2 * np.log(FREEDOM * np.pi)
        size = np.log(np.einsum("kii->ki", self.factor)).sum(axis=1) + np.log(self.weight)
        shift = np.einsum("kji,kj->ki", self.factor, self.centre)
        density = np.full(len(at), -np.inf)
        chunk = max(1, 2_000_000 // at.size)
        for begin in range(0, len(size), chunk):
            part = slice(begin, begin + chunk)
            away = np.matmul(at[None], self.factor[part]) - shift[part, None, :]
            square = np.einsum("kni,kni->kn", away, away)
            each = size[part, None] + constant
            each = each - (FREEDOM + d) / 2 * np.log1p(square / FREEDOM)
            top = each.max(axis=0)
            density = np.logaddexp(density, top + np.log(np.exp(each - top).sum(axis=0)))
        return density


def draws(
    trial: AxisTrial,
    solutions: FloatArray,
    u: FloatArray,
    n: int,
    rng: np.random.Generator,
) -> FloatArray:
    """Equally weighted draws from the posterior of an axis.

    Parameters
    ----------
    trial : AxisTrial
    solutions : array, shape (k, m + 2)
        What fits, from `fits.distinct`, the best one first. [V/m or mV]
    u : array, shape (n,)
        Standard uncertainty of each reading with its model error. [V/m or mV]
    n : int
        How many draws.
    rng : numpy.random.Generator

    Returns
    -------
    array, shape (n, m + 2)
        Amplitudes, Re e, Im e. [V/m or mV]

    Notes
    -----
    Flat prior on amplitudes, Re e and Im e within the box; in polar coordinates of e that is the
    factor |e|.

    References
    ----------
    Rule attribution-1. Cornuet et al., "Adaptive multiple importance sampling", Scand. J. Stat.
    39 (2012) 798; ter Braak, "Differential evolution Markov chain", Stat. Comput. 16 (2006) 239
    (both from memory).
    """
    m = trial.on.shape[1]
    chi2 = _chi2(trial, solutions, u)
    centres = _mirrored(_polar(solutions, m), trial)
    at_solutions = _factors(trial, centres, u)
    fit = np.tile(chi2, len(centres) // len(solutions))
    share = np.exp(-0.25 * (fit - fit.min()))
    share = 0.8 * share / share.sum() + 0.2 / len(share)
    rounds = [_Mixture(centres, at_solutions, share)]
    at, height, proposed = np.empty((0, m + 2)), np.empty(0), np.empty(0)
    weight, effective = np.empty(0), 0.0
    for number in range(MOST_ROUNDS):
        fresh = rounds[-1].draw(PER_ROUND, rng)
        spread = [_Mixture.log_density(mixture, fresh) for mixture in rounds]
        earlier = np.logaddexp(proposed, rounds[-1].log_density(at)) if at.size else proposed
        at = np.concatenate([at, fresh])
        height = np.concatenate([height, _log_height(trial, fresh, u)])
        proposed = np.concatenate([earlier, np.logaddexp.reduce(spread, axis=0)])
        weight = np.exp(height - proposed - (height - proposed).max())
        weight /= weight.sum()
        effective = 1.0 / float((weight**2).sum())
        if effective >= ENOUGH and number > 0:
            break
        added = _where_weights_are(trial, at, weight, u, rng)
        rounds.append(
            _Mixture(
                np.concatenate([centres, added.centre]),
                np.concatenate([at_solutions, added.factor]),
                np.concatenate([0.4 * share, 0.6 * added.weight]),
            )
        )
    places = np.searchsorted(np.cumsum(weight), (np.arange(n) + rng.uniform()) / n)
    chosen = at[rng.permutation(np.minimum(places, len(at) - 1))]
    drawn = _cartesian(chosen, m)
    return drawn if effective >= ENOUGH else _walked(trial, drawn, u, rng)


def _chi2(trial: AxisTrial, at: FloatArray, u: FloatArray) -> FloatArray:
    chi2: FloatArray = (residuals(trial, np.abs(phasors(trial, at)), u) ** 2).sum(axis=1)
    return chi2


def _log_height(trial: AxisTrial, polar: FloatArray, u: FloatArray) -> FloatArray:
    """Logarithm of the posterior in polar coordinates, but for a constant."""
    m = trial.on.shape[1]
    at = _cartesian(polar, m)
    size, angle = polar[:, m], polar[:, m + 1]
    allowed = (np.abs(at) <= BOX * trial.largest).all(axis=1)
    allowed &= (size > 0.0) & (np.abs(angle) <= np.pi)
    height = -0.5 * _chi2(trial, at, u) + np.log(np.maximum(size, 1e-300))
    return np.where(allowed, height, -np.inf)


def _polar(at: FloatArray, m: int) -> FloatArray:
    outside = at[:, m] + 1j * at[:, m + 1]
    return np.column_stack([at[:, :m], np.abs(outside), np.angle(outside)])


def _cartesian(polar: FloatArray, m: int) -> FloatArray:
    outside = polar[:, m] * np.exp(1j * polar[:, m + 1])
    return np.column_stack([polar[:, :m], outside.real, outside.imag])


def _mirrored(polar: FloatArray, trial: AxisTrial) -> FloatArray:
    """The solutions with their images under what no reading can tell apart.

    All signs turned round; where every phase is real, what stays mirrored as well.
    """
    m = trial.on.shape[1]
    images = [polar]
    if np.allclose(trial.phase.imag, 0.0):
        images.append(polar * np.append(np.ones(m + 1), -1.0))
    for image in tuple(images):
        turned = image * np.append(-np.ones(m), [1.0, 1.0])
        turned[:, m + 1] -= np.pi * np.where(turned[:, m + 1] > 0.0, 1.0, -1.0)
        images.append(turned)
    return np.concatenate(images)


def _factors(trial: AxisTrial, polar: FloatArray, u: FloatArray) -> FloatArray:
    """Cholesky factors of the precision that the curvature at each place gives."""
    m = trial.on.shape[1]
    at = _cartesian(polar, m)
    summed = phasors(trial, at)
    slope = slopes(trial, summed, residuals(trial, np.abs(summed), u), u)
    real, imaginary = slope[:, :, m], slope[:, :, m + 1]
    cosine, sine = np.cos(polar[:, m + 1])[:, None], np.sin(polar[:, m + 1])[:, None]
    size = np.maximum(polar[:, m], 1e-3 * trial.largest)[:, None]
    by_size = real * cosine + imaginary * sine
    by_angle = size * (imaginary * cosine - real * sine)
    slope = np.concatenate([slope[:, :, :m], by_size[..., None], by_angle[..., None]], axis=2)
    precision = np.einsum("sni,snj->sij", slope, slope)
    prior = np.full(m + 2, (1.5 * trial.largest) ** -2)
    prior[m + 1] = 1.0  # an angle is known to about a radian in any case
    every = np.arange(m + 2)
    precision[:, every, every] += prior
    return np.linalg.cholesky(precision / _WIDER**2)


def _where_weights_are(
    trial: AxisTrial,
    at: FloatArray,
    weight: FloatArray,
    u: FloatArray,
    rng: np.random.Generator,
) -> _Mixture:
    calm = np.sqrt(weight)
    n = min(_ADDED, int((calm > 0.0).sum()))
    chosen = rng.choice(len(at), n, replace=False, p=calm / calm.sum())
    return _Mixture(at[chosen], _factors(trial, at[chosen], u), np.full(n, 1.0 / n))


def _walked(
    trial: AxisTrial, at: FloatArray, u: FloatArray, rng: np.random.Generator
) -> FloatArray:
    """The draws after steps along differences of other draws, taken as Metropolis has it."""
    position, chi2, box = at.copy(), _chi2(trial, at, u), BOX * trial.largest
    n, d = position.shape
    for step in range(WALK_STEPS):
        size = 1.0 if step % 10 == 9 else 2.38 / np.sqrt(2.0 * d) * rng.uniform(0.3, 1.0)
        half = rng.permutation(n)
        for moved, resting in ((half[::2], half[1::2]), (half[1::2], half[::2])):
            first = rng.choice(resting, len(moved))
            second = rng.choice(resting, len(moved))
            jitter = 1e-4 * trial.largest * rng.standard_normal((len(moved), d))
            to = position[moved] + size * (position[first] - position[second]) + jitter
            to_chi2 = _chi2(trial, to, u)
            inside = (np.abs(to) <= box).all(axis=1)
            taken = inside & (np.log(rng.uniform(size=len(moved))) < (chi2[moved] - to_chi2) / 2)
            position[moved[taken]], chi2[moved[taken]] = to[taken], to_chi2[taken]
    return position
