"""Trials and plans: how fast they are computed, and whether what they promise holds.

Homes are simulated by the generator of tests/homes.py, whose truth is known.
"""

import argparse
from typing import Any

import emcee
import numpy as np
from scipy.stats import norm

from mitigation.calc.attribution import DRAWS, attribute
from mitigation.calc.fits import distinct, refined, starts
from mitigation.calc.posterior import ENOUGH, draws
from mitigation.calc.prediction import after_draws, left_draws, normal_draws
from mitigation.calc.selection import Offer, choose
from mitigation.calc.selection import Row as OfferRow
from mitigation.calc.trials import BOX, AxisTrial, phasors, residuals
from tests.bench.timing import Row, at_least, at_most, best_of, seconds
from tests.homes import Home, home, read, states, unmeasured

PLACEMENT = 0.05
WALKERS, STEPS = 64, 800


# -- Sampling -------------------------------------------------------------------------------------


def sampling(*, quick: bool) -> Row:
    """The time of emcee over ours, for as many effective draws, from the same solutions."""
    ours_s, theirs_s = 0.0, 0.0
    for seed in range(1 if quick else 6):
        rng = np.random.default_rng([7, seed])
        house = home(1 + seed % 3, 3 + seed, 0.05, rng)
        axis = read(house, states(3 + seed, alone=True, rng=rng), rng)[0]
        u = axis.u(0.02)
        at, chi2 = refined(axis, starts(axis, 96, rng), u)
        solutions = distinct(axis, at, chi2, within=30.0, most=40)
        ours_s += _our_seconds_per_draw(axis, solutions, u, rng)
        theirs_s += _emcee_seconds_per_draw(axis, solutions, u, rng, 200 if quick else STEPS)
    return at_least(
        "trials: emcee's time over ours", theirs_s / ours_s, 3, f"emcee {emcee.__version__}"
    )


def _our_seconds_per_draw(
    axis: AxisTrial, solutions: Any, u: Any, rng: np.random.Generator
) -> float:
    return seconds(lambda: draws(axis, solutions, u, DRAWS, rng)) / ENOUGH


def _emcee_seconds_per_draw(
    axis: AxisTrial, solutions: Any, u: Any, rng: np.random.Generator, steps: int
) -> float:
    def height(at: Any) -> Any:
        chi2 = (residuals(axis, np.abs(phasors(axis, at)), u) ** 2).sum(axis=1)
        inside = (np.abs(at) <= BOX * axis.largest).all(axis=1)
        return np.where(inside, -0.5 * chi2, -np.inf)

    begin = solutions[rng.integers(0, len(solutions), WALKERS)]
    begin = begin + 1e-3 * axis.largest * rng.standard_normal(begin.shape)
    sampler = emcee.EnsembleSampler(WALKERS, begin.shape[1], height, vectorize=True)
    taken = seconds(lambda: sampler.run_mcmc(begin, steps))
    length = np.nanmax(sampler.get_autocorr_time(quiet=True, tol=0))
    return taken / (WALKERS * steps / max(float(length), 1.0))


# -- Prediction and choice ------------------------------------------------------------------------


def predictions(*, quick: bool) -> list[Row]:
    """40 spots, 30 items, 4,000 draws: one factor an item, multiplied where it acts."""
    spots, items = (4, 5) if quick else (40, 30)
    rng = np.random.default_rng(3)
    left = np.stack([left_draws(20, 6, DRAWS, rng) for _item in range(items)])
    noise = np.stack([normal_draws(DRAWS, rng) for _number in range(3)])
    parts = rng.standard_normal((spots, 3, DRAWS, items))

    def ours() -> None:
        for spot in range(spots):
            whole = np.sqrt((parts[spot].sum(axis=2) ** 2).sum(axis=0))
            rest = np.sqrt(((parts[spot] @ np.ones(items)) ** 2).sum(axis=0))
            summed = np.einsum("adi,id->ad", parts[spot], left)
            ratio = np.sqrt((summed**2).sum(axis=0)) / np.maximum(whole, rest)
            np.quantile(after_draws(20.0, ratio, PLACEMENT, 0.03, noise), [0.025, 0.5, 0.975])

    def plain() -> None:
        for spot in range(spots):
            summed = np.einsum("adi,id->ad", parts[spot], left)
            np.sqrt((summed**2).sum(axis=0))

    ours_s, plain_s = best_of(2 if quick else 3, ours, plain)
    return [
        at_most("plans: prediction against plain numpy", ours_s / plain_s, 4, f"{spots}x{items}"),
        at_most("plans: prediction of all rows", ours_s, 0.5, f"{spots} x {items}", unit="s"),
    ]


def choice(*, quick: bool) -> Row:
    """Ten rooms with three items each, and six items of the whole home; eight act on a row."""
    rng = np.random.default_rng(8)
    rooms = 3 if quick else 8
    rows = []
    for room in range(rooms):
        for _spot in range(5):
            acting = np.concatenate([3 * room + np.arange(3), 3 * rooms + np.arange(5)])
            strength = rng.uniform(0.05, 0.45, len(acting))
            sets = (np.arange(256)[:, None] >> np.arange(8)) & 1
            rows.append(OfferRow(acting, np.minimum(1.0, 0.2 + sets @ strength)))
    cost = np.round(rng.uniform(80, 900, 3 * rooms + 6))
    offer = Offer(cost, (), tuple(rows))
    taken = seconds(lambda: choose(offer))
    size = f"{len(rows)} rows x {len(cost)} items, every step"
    return at_most("plans: choice of the cheapest", taken, 2, size, unit="s")


# -- Whether it holds -----------------------------------------------------------------------------


def coverage(*, quick: bool) -> list[Row]:
    """Unmeasured states inside their 95 % intervals, and how wide these are."""
    rows = []
    for alone in (True, False):
        for coupling, widest in ((0.0, 0.13), (0.05, 0.26)):
            inside, widths = _coverage(alone, coupling, 1 if quick else 28)
            how = f"{'each alone' if alone else 'three mixed'}, {coupling:.0%}"
            note = f"{len(widths):,} states"
            rows += [
                at_least(f"trials: coverage, {how}", float(np.mean(inside)), 0.93, note),
                at_most(f"trials: width, {how}", float(np.median(widths)), widest, note),
            ]
    return rows


def _coverage(alone: bool, coupling: float, homes: int) -> tuple[list[bool], list[float]]:
    inside, widths = [], []
    for phases in (1, 2, 3):
        for seed in range(2, 2 + homes):
            sources = 3 + seed % 6
            rng = np.random.default_rng([phases, alone, int(100 * coupling), seed])
            house = home(phases, sources, coupling, rng)
            on = states(sources, alone=alone, rng=rng)
            result = attribute(read(house, on, rng), np.random.default_rng(5))
            if result is None:
                continue
            everything, true_on = result.field(), house.field(np.ones(sources))[0]
            for state in unmeasured(on, 4, rng):
                low, middle, high = np.quantile(
                    result.field(state) / everything, [0.025, 0.5, 0.975]
                )
                inside.append(bool(low <= house.field(state)[0] / true_on <= high))
                widths.append(float((high - low) / middle))
    return inside, widths


def promises(*, quick: bool) -> list[Row]:
    """Homes carried through trial, works by the model and a follow-up with noise."""
    foretold, met = [], []
    for seed in range(4 if quick else 300):
        pair = _promise(np.random.default_rng([17, seed]), 1 + seed % 3, 3 + seed % 4)
        if pair is not None:
            foretold.append(pair[0])
            met.append(pair[1])
    chance, kept = np.array(foretold), np.array(met, dtype=bool)
    sure = chance >= 0.9
    share = float(kept[sure].mean()) if sure.any() else 1.0
    return [
        at_least("plans: promises of 90 % that were kept", share, 0.9, f"{sure.sum()} homes"),
        at_least(
            "plans: classes of probability that fit", _fitting_classes(chance, kept), 1,
            "five classes, 99 % Wilson intervals",
        ),
    ]  # fmt: skip


def _promise(rng: np.random.Generator, phases: int, sources: int) -> tuple[float, bool] | None:
    house = home(phases, sources, 0.0, rng)
    on = states(sources, alone=True, rng=rng)
    result = attribute(read(house, on, rng), np.random.default_rng(5))
    if result is None:
        return None
    treated = rng.random(sources) < 0.6
    left = np.ones((DRAWS, sources))
    left[:, treated] = np.stack(
        [left_draws(40, 6, DRAWS, rng) for _source in range(int(treated.sum()))], axis=1
    ) if treated.any() else 1.0  # fmt: skip
    before = house.field(np.ones(sources))[0] * (1 + PLACEMENT * rng.standard_normal())
    noise = np.stack([normal_draws(DRAWS, rng) for _number in range(3)])
    ratio = result.field(left) / result.field()
    after = after_draws(before, ratio, PLACEMENT, 0.03, noise)
    limit = float(np.median(after) * np.exp(rng.normal(0.1, 0.25)))
    works = np.ones(sources)
    works[treated] = 10 ** (-(40 + 6 * rng.standard_normal(int(treated.sum()))) / 20)
    true = _left_over(house, works) * (1 + PLACEMENT * rng.standard_normal())
    true += 0.03 * rng.standard_normal()
    return float(np.mean(after < limit)), bool(true < limit)


def _left_over(house: Home, works: Any) -> float:
    return float(house.field(works)[0])


def _fitting_classes(chance: Any, kept: Any) -> float:
    """The share of the classes whose mean probability lies in the interval of what was kept."""
    z = float(norm.ppf(0.995))
    fits = []
    for low in (0.0, 0.2, 0.4, 0.6, 0.8):
        rows = (chance >= low) & (chance <= low + 0.2)
        n = int(rows.sum())
        if not n:
            continue
        share = kept[rows].mean()
        middle = (share + z * z / (2 * n)) / (1 + z * z / n)
        half = z * np.sqrt(share * (1 - share) / n + z * z / (4 * n * n)) / (1 + z * z / n)
        fits.append(abs(chance[rows].mean() - middle) <= half)
    return float(np.mean(fits))


def rows(*, quick: bool) -> list[Row]:
    return [
        sampling(quick=quick),
        *predictions(quick=quick),
        choice(quick=quick),
        *coverage(quick=quick),
        *promises(quick=quick),
    ]


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true")
    for row in rows(quick=parser.parse_args().quick):
        print(row.as_json(), flush=True)
