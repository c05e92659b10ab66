"""The rules on simulated homes, whose true fields are known.

A house is one visit before and one after, on one instrument under one certificate: its gain error
is drawn anew for every house and is the same at both of its visits. Placement and noise are drawn
for every reading. Placement multiplies the whole reading and not each axis, because it says that
the probe stood elsewhere in the field; and it is drawn at each visit, because the rule counts it
twice. A test below draws it once a house, and finds the intervals too wide.
"""

from dataclasses import dataclass

import numpy as np
import pytest

from mitigation.calc.reduction import Reductions, Side, reductions
from mitigation.calc.target import Decision, Judgements, judge
from surveys.calc.arrays import FloatArray
from surveys.calc.resultant import Resultants, resultants
from surveys.calc.uncertainty import Instruments, standard_uncertainty
from tests.calc.build import NAN

SPOTS_PER_HOUSE = 10
PLACEMENT = 0.05
LIMIT = 5.0  # V/m, upper bound of the second band, ground-referenced (SBM-2015)


@dataclass(frozen=True)
class Home:
    """What the rules made of the simulated readings, with the truth beside it."""

    true_before: FloatArray
    true_after: FloatArray
    after: Resultants
    reduction: Reductions
    judgement: Judgements

    @property
    def true_percent(self) -> FloatArray:
        return 100.0 * (1.0 - self.true_after / self.true_before)


def simulated(
    true_before: FloatArray,
    true_after: FloatArray,
    seed: int,
    *,
    gain_percent: float = 10.0,
    floor: float = NAN,
    placement_drawn_once: bool = False,
    second_instrument: bool = False,
) -> Home:
    """Houses of ten spots, read on three axes before and after, through all of the rules."""
    rng = np.random.default_rng(seed)
    n = true_before.size
    full = np.full
    data = Instruments(
        full(n, gain_percent), full(n, 0.01), full(n, 0.02), full(n, floor), full(n, NAN)
    )
    houses = n // SPOTS_PER_HOUSE
    gains = [rng.normal(1.0, data.gain[0], houses).repeat(SPOTS_PER_HOUSE) for _ in range(2)]
    if not second_instrument:
        gains[1] = gains[0]
    placed = [rng.normal(1.0, PLACEMENT, n) for _ in range(2)]
    if placement_drawn_once:
        placed[1] = placed[0]

    def read(truth: FloatArray, gain: FloatArray, place: FloatArray) -> Resultants:
        direction = rng.normal(size=(n, 3))
        direction /= np.linalg.norm(direction, axis=1)[:, np.newaxis]
        axes = direction * (truth * gain * place)[:, np.newaxis] + rng.normal(0.0, 0.02, (n, 3))
        shown = np.round(np.abs(axes) / 0.01) * 0.01
        values = np.column_stack([shown, full(n, NAN)])
        return resultants(values, np.zeros((n, 4), dtype=np.int8), data, PLACEMENT)

    before = read(true_before, gains[0], placed[0])
    after = read(true_after, gains[1], placed[1])
    limit = full(n, LIMIT)
    return Home(
        true_before,
        true_after,
        after,
        reductions(
            Side(before.value, before.qualifier, data.gain, data.additive),
            Side(after.value, after.qualifier, data.gain, data.additive),
            PLACEMENT,
            full(n, not second_instrument),
        ),
        judge(
            after.value,
            after.lower,
            after.qualifier,
            after.u,
            limit,
            standard_uncertainty(limit, data.gain, PLACEMENT, data.additive),
            after.partial,
            full(n, True),
            full(n, False),
        ),
    )


def homes(n: int, seed: int) -> tuple[FloatArray, FloatArray]:
    """True fields before and after, evenly on a log scale from 1.5 to 80 V/m."""
    rng = np.random.default_rng(seed)
    before, after = np.exp(rng.uniform(np.log(1.5), np.log(80.0), (2, n)))
    return before, after


def coverage(home: Home, most: float = 0.95) -> float:
    """Share of the two-sided intervals that hold the true reduction. [%]"""
    two_sided = home.reduction.given & ~home.reduction.at_least
    assert two_sided.mean() > most
    low, high = home.reduction.percent_low, home.reduction.percent_high
    holds = (low <= home.true_percent) & (home.true_percent <= high)
    return float(100.0 * holds[two_sided].mean())


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("second_instrument", [False, True])
def test_intervals_hold_the_true_reduction(seed: int, second_instrument: bool) -> None:
    """Wanted 94 to 96.5 %; two standard deviations of a normal distribution hold 95.45 %."""
    home = simulated(*homes(20_000, seed), seed + 100, second_instrument=second_instrument)
    assert 94.0 <= coverage(home) <= 96.5


def test_intervals_hold_whatever_the_field() -> None:
    """Not only on average: in each fifth of the true field after the work."""
    home = simulated(*homes(100_000, 4), 104)
    two_sided = home.reduction.given & ~home.reduction.at_least
    holds = (home.reduction.percent_low <= home.true_percent) & (
        home.true_percent <= home.reduction.percent_high
    )
    edges = np.quantile(home.true_after, [0.2, 0.4, 0.6, 0.8])
    fifth = np.searchsorted(edges, home.true_after)
    for part in range(5):
        assert 94.0 <= 100.0 * holds[two_sided & (fifth == part)].mean() <= 96.5


def test_at_least_is_at_least() -> None:
    """Of figures that bound a change, no more than 2.5 % claim more than the truth.

    A fall is printed by its low end and a rise by its high end, the one nearer to 0.

    Read with a floor of 0.5 V/m on each axis, so that many a weak axis is not detected.
    """
    home = simulated(*homes(100_000, 5), 105, floor=0.5)
    bounded = home.reduction.at_least
    assert bounded.sum() > 1000
    falls = bounded & (home.reduction.percent > 0.0)
    rises = bounded & (home.reduction.percent < 0.0)
    assert falls.sum() > 1000 and rises.sum() > 1000
    too_low = home.reduction.percent_low > home.true_percent
    too_high = home.reduction.percent_high < home.true_percent
    assert 100.0 * too_low[falls].mean() < 2.5
    assert 100.0 * too_high[rises].mean() < 2.5


def test_undetected_axes_that_were_said_not_to_matter_do_not_matter() -> None:
    home = simulated(*homes(100_000, 13), 113, floor=0.5)
    assert 94.0 <= coverage(home, most=0.7) <= 96.5
    assert wrong_pass(home) < 2.5


def test_a_real_change_is_real() -> None:
    """Of spots without any change, about one in twenty is called one; a wrong sign is rare."""
    before, after = homes(20_000, 6)
    same = simulated(before, before, 106)
    assert 100.0 * same.reduction.real.mean() < 6.0
    home = simulated(before, after, 107)
    wrong = home.reduction.real & (np.sign(home.reduction.percent) != np.sign(home.true_percent))
    assert 100.0 * wrong.mean() < 0.5


def wrong_pass(home: Home) -> float:
    """Share of spots at or above the target that are passed. [%]"""
    above = home.true_after >= LIMIT
    assert above.sum() >= 5000
    return float(100.0 * (home.judgement.decision[above] == Decision.PASS).mean())


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_pass_is_wrong_in_few_spots(seed: int) -> None:
    home = simulated(*homes(20_000, seed), seed + 100)
    assert wrong_pass(home) < 2.5
    # and passes are given: a rule that never passes would be no use
    clearly_under = home.true_after < 3.5
    assert 100.0 * (home.judgement.decision[clearly_under] == Decision.PASS).mean() > 95.0


@pytest.mark.parametrize("gain_percent", [4.0, 10.0, 20.0])
def test_a_pass_is_wrong_in_few_spots_at_the_limit(gain_percent: float) -> None:
    """The hardest case: every true field is the limit. Two sigma of a normal one-sided: 2.275 %.

    400,000 spots in 40,000 houses, since spots of a house share their gain; the standard error is
    about 0.04 %. A little less than 2.275 %, because gain and placement multiply: two that are
    low together are less low than their sum.
    """
    n = 400_000
    at_limit = np.full(n, LIMIT)
    home = simulated(homes(n, 7)[0], at_limit, 108, gain_percent=gain_percent)
    assert 1.5 < wrong_pass(home) < 2.5


def test_a_pass_is_wrong_in_few_spots_just_above_the_limit() -> None:
    """20,000 spots from the limit to a tenth above it."""
    rng = np.random.default_rng(9)
    home = simulated(homes(20_000, 9)[0], rng.uniform(LIMIT, 1.1 * LIMIT, 20_000), 109)
    assert wrong_pass(home) < 2.5


def test_without_the_guard_band_half_would_be_wrong_at_the_limit() -> None:
    """What the test above would see if w were forgotten; "pass" and "conditional-pass" together."""
    n = 20_000
    home = simulated(homes(n, 10)[0], np.full(n, LIMIT), 110)
    under = home.judgement.decision <= Decision.CONDITIONAL_PASS
    assert 45.0 < 100.0 * under.mean() < 55.0


def test_probability_means_what_it_says() -> None:
    """Of spots with a stated probability of 0.8 to 0.9, that many are truly under the target.

    For fields that are evenly spread around the limit, which is what the rule supposes when it
    takes the reading alone.
    """
    rng = np.random.default_rng(11)
    n = 200_000
    home = simulated(homes(n, 11)[0], rng.uniform(2.0, 10.0, n), 111, gain_percent=6.0)
    stated = home.judgement.probability
    for low, high in ((0.5, 0.6), (0.8, 0.9)):
        some = (stated > low) & (stated < high)
        truly = (home.true_after[some] < LIMIT).mean()
        assert truly == pytest.approx(stated[some].mean(), abs=0.05)


def test_placement_is_drawn_for_every_reading() -> None:
    """Drawn once for both visits it cancels, and the intervals would hold nearly everything."""
    home = simulated(*homes(20_000, 12), 112, placement_drawn_once=True)
    assert coverage(home) > 99.0
