"""read-state-1, prediction-1 and selection-1 against hand calculations and brute force."""

import itertools
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import milp

from mitigation.calc import programming
from mitigation.calc.prediction import (
    after_draws,
    left_draws,
    may_rise,
    normal_draws,
    predicted,
    uniform_draws,
)
from mitigation.calc.programming import prime_failures
from mitigation.calc.read_states import several_ends, single_ends
from mitigation.calc.selection import Offer, Row, choose, is_held

BOUNDS = np.array([0.3, 1.5, 10.0])


# -- read-state-1 ---------------------------------------------------------------------------------


def test_the_ends_of_one_source() -> None:
    """κ = 0.1, E_A = 60, E_on = 220: |54 - 22| = 32 and 54 + 22 = 76."""
    low, high = single_ends(np.array([0.1]), 60.0, 60.0, 220.0)
    assert (low[0], high[0]) == pytest.approx((32.0, 76.0))


def test_nothing_left_is_the_reading_and_all_left_is_everything_on() -> None:
    for left, field in ((0.0, 60.0), (1.0, 220.0)):
        low, high = single_ends(np.array([left]), 60.0, 60.0, 220.0)
        assert (low[0], high[0]) == pytest.approx((field, field))


@given(
    st.lists(st.floats(-50, 50), min_size=6, max_size=6),
    st.floats(0, 1),
)
def test_the_truth_lies_between_the_ends(numbers, left) -> None:
    """For any two phasors on three axes: what is on without the source, and the source."""
    rest, source = np.array(numbers[:3]) + 0j, np.array(numbers[3:]) * 1j
    off, on = np.linalg.norm(rest), np.linalg.norm(rest + source)
    low, high = single_ends(np.array([left]), off, off, on)
    true = np.linalg.norm(rest + left * source)
    assert low[0] - 1e-9 <= true <= high[0] + 1e-9


@given(st.lists(st.floats(-50, 50), min_size=9, max_size=9), st.floats(0, 1), st.floats(0, 1))
def test_the_truth_lies_between_the_ends_of_several(numbers, first, second) -> None:
    rest, lamp, heater = (np.array(numbers[at : at + 3]) for at in (0, 3, 6))
    everything = np.linalg.norm(rest + lamp + heater)
    alone = np.array([np.linalg.norm(rest + heater), np.linalg.norm(rest + lamp)])
    off = np.linalg.norm(rest)
    low, high = several_ends(np.array([[first, second]]), off, off, everything, alone)
    true = np.linalg.norm(rest + first * lamp + second * heater)
    assert low[0] - 1e-9 <= true <= high[0] + 1e-9


def test_a_state_that_was_not_read_alone_takes_the_bracket() -> None:
    """S = 0.1·(10 + 4) + 0.2·(10 + 3), the second for want of a reading of its own."""
    left = np.array([[0.1, 0.2]])
    low, high = several_ends(left, 3.0, 3.0, 10.0, np.array([4.0, np.nan]))
    assert (low[0], high[0]) == pytest.approx((max(0.0, 3.0 - 4.0), 3.0 + 4.0))


# -- prediction-1 ---------------------------------------------------------------------------------


def test_draws_are_spread_evenly() -> None:
    rng = np.random.default_rng(4)
    normal = normal_draws(4000, rng)
    assert np.quantile(normal, [0.025, 0.5, 0.975]) == pytest.approx([-1.96, 0, 1.96], abs=5e-3)
    assert np.sort(uniform_draws(4, rng) * 4).astype(int).tolist() == [0, 1, 2, 3]


def test_an_effect_of_20_db_leaves_a_tenth() -> None:
    left = left_draws(20.0, 6.0, 4000, np.random.default_rng(1))
    assert np.median(left) == pytest.approx(0.1, rel=1e-3)
    # One standard deviation is 6 dB, a factor of 2.
    assert np.quantile(left, 0.8413) == pytest.approx(0.1995, rel=0.01)
    assert left_draws(80.0, 0.0, 3, np.random.default_rng(1)) == pytest.approx(1e-4)


def test_the_after_reading_spreads_by_both_placements() -> None:
    """p = 5 % twice: about 7.1 % beside the display's 0.03."""
    noise = np.stack([normal_draws(4000, np.random.default_rng(seed)) for seed in (1, 2, 3)])
    after = after_draws(20.0, np.full(4000, 0.5), 0.05, 0.03, noise)
    assert np.median(after) == pytest.approx(10.0, rel=0.01)
    assert after.std() == pytest.approx(np.sqrt(2) * 0.5, rel=0.05)
    assert after_draws(0.01, np.ones(4000), 0.05, 1.0, noise).min() == 0.0


def test_figures_of_a_row() -> None:
    after = np.array([0.1, 0.3, 1.4, 1.5, 10.0, 10.1, 20.0, 1.0])
    figures = predicted(after, BOUNDS, 1.5)
    assert figures.bands.tolist() == [1 / 8, 3 / 8, 2 / 8, 2 / 8]  # band-1 at its bounds
    next_to = np.nextafter(BOUNDS, [0.0, 0.0, 99.0])  # no difference to band-1
    assert predicted(next_to, BOUNDS, 1.5).bands.tolist() == [0, 1 / 3, 2 / 3, 0]
    assert figures.probability == 0.5
    assert np.isnan(predicted(after, np.full(3, np.nan), np.nan).bands).all()
    assert may_rise(after, 0.9) and not may_rise(after, 5.0)


# -- selection-1 ----------------------------------------------------------------------------------


def offer_of(seed: int) -> Offer:
    """A small offer with equal costs, exclusive pairs, and tables that need not grow."""
    rng = np.random.default_rng(seed)
    n, n_rows = rng.integers(1, 7), rng.integers(1, 6)
    rows = []
    for _row in range(n_rows):
        items = np.sort(rng.choice(n, rng.integers(0, min(int(n), 4) + 1), replace=False))
        rows.append(Row(items, np.round(rng.uniform(0, 1, 2 ** len(items)), 2)))
    pairs = itertools.combinations(range(int(n)), 2)
    exclusive = tuple(pair for pair in pairs if rng.random() < 0.1)
    return Offer(rng.choice([0.0, 100.0, 150.5, 200.0, 300.0], n), exclusive, tuple(rows), 0.8)


def by_brute_force(offer: Offer):
    """Every allowed plan, ranked as the rule says; nothing of the code under test."""
    n = len(offer.cost)
    plans = []
    for size in range(n + 1):
        for items in itertools.combinations(range(n), size):
            if any(first in items and second in items for first, second in offer.exclusive):
                continue
            held, total = 0, 0.0
            for row in offer.rows:
                place = sum(1 << at for at, item in enumerate(row.items.tolist()) if item in items)
                held += row.probability[place] >= offer.wanted
                total += row.probability[place]
            cost = round(float(sum(offer.cost[item] for item in items)), 6)
            plans.append((held, round(total, 2), cost, size, items))
    most = max(plan[0] for plan in plans)
    steps = []
    for number in range(most + 1):
        enough = [plan for plan in plans if plan[0] >= number]
        steps.append(min(enough, key=lambda plan: (plan[2], plan[3], plan[4]))[4])
    if most == len(offer.rows):
        return steps[-1], True, steps
    best = [plan for plan in plans if plan[0] == most]
    top = max(plan[1] for plan in best)
    best = [plan for plan in best if plan[1] == top]
    return min(best, key=lambda plan: (plan[2], plan[3], plan[4]))[4], False, steps


@pytest.mark.parametrize("part", range(6))
def test_the_choice_equals_brute_force_on_300_small_cases(part) -> None:
    for seed in range(50 * part, 50 * part + 50):
        offer = offer_of(seed)
        items, reached, steps = by_brute_force(offer)
        choice = choose(offer)
        assert (choice.items, choice.reached) == (items, reached), seed
        assert [step.items for step in choice.steps] == steps, seed
        assert choice.proven


@pytest.mark.parametrize("part", range(3))
def test_the_integer_programme_chooses_the_same(part) -> None:
    for seed in range(12 * part, 12 * part + 12):
        offer = offer_of(seed)
        items, reached, steps = by_brute_force(offer)
        choice = choose(offer, enumerate_up_to=-1)
        assert (choice.items, choice.reached) == (items, reached), seed
        assert [step.items for step in choice.steps] == steps, seed


def clock_of(calls: int):
    """A clock whose time is over after so many looks at it. [s]"""
    looks = itertools.count()
    return lambda: 1000.0 if next(looks) < calls else 0.0


@pytest.mark.parametrize("seed", [7, 11, 22, 33])
def test_a_search_out_of_time_claims_no_more_than_it_proved(seed) -> None:
    """Wherever the time ends: plans hold what they say, bounds stand, proven is the best."""
    offer = offer_of(seed)
    items, reached, steps = by_brute_force(offer)
    choices = [
        choose(offer, enumerate_up_to=-1, seconds_left=clock_of(calls))
        for calls in (*range(40), 1000)
    ]
    for choice in choices:
        held = sum(is_held(row, choice.items, 0.8) for row in offer.rows)
        assert not any(set(pair) <= set(choice.items) for pair in offer.exclusive)
        assert choice.reached == (held == len(offer.rows))
        assert choice.bound <= offer.cost[list(steps[held])].sum() + (0 if choice.reached else 1e9)
        for step in choice.steps:
            assert sum(is_held(row, step.items, 0.8) for row in offer.rows) >= step.held
            least = offer.cost[list(steps[step.held])].sum()
            assert step.cost == pytest.approx(least) if step.proven else step.cost >= least - 1e-6
        if choice.proven:
            assert choice.reached == reached
            assert choice.cost == pytest.approx(offer.cost[list(items)].sum())
    assert not choices[0].proven and choices[0].items == () and choices[0].bound == 0.0
    assert choices[-1].proven and choices[-1].items == items
    assert [step.items for step in choices[-1].steps] == steps


def test_one_budget_is_for_all_searches_of_a_choice(monkeypatch) -> None:
    """Each look at the clock costs a tenth of a second, and a search gets what is left then."""
    limits = []

    def watched(*args: Any, options: dict[str, float], **given: Any) -> Any:
        limits.append(options["time_limit"])
        return milp(*args, options=options, **given)

    monkeypatch.setattr(programming, "milp", watched)
    looks = itertools.count()
    choice = choose(offer_of(7), enumerate_up_to=-1, seconds_left=lambda: 20 - next(looks) / 10)
    of_choice = [limit for limit in limits if limit > 0.5]
    assert of_choice == [pytest.approx(15 - at / 10) for at in range(1, len(of_choice) + 1)]
    assert len(choice.steps) == 3 and len(limits) - len(of_choice) > 0
    assert min(limits) > 0
    looks = itertools.count()
    limits.clear()
    choose(offer_of(7), enumerate_up_to=-1, seconds_left=lambda: 4.0 - next(looks))
    assert limits == [2.0, 1.0]  # of the three seconds of the choice, one gone at the first look


def test_nothing_to_hold_is_the_empty_plan() -> None:
    choice = choose(Offer(np.array([100.0]), (), (), 0.9))
    assert choice.items == () and choice.reached and choice.cost == 0.0


def test_a_row_is_held_at_the_wanted_probability_itself() -> None:
    row = Row(np.array([0]), np.array([0.2, 0.9]))
    assert is_held(row, (0,), 0.9) and not is_held(row, (), 0.9)


@settings(max_examples=60)
@given(st.lists(st.booleans(), min_size=8, max_size=8))
def test_families_of_failures_cover_just_the_failures(fails) -> None:
    """Every set that fails is in a family, and no family has a set that holds."""
    families = prime_failures(np.array(fails))
    for number, failing in enumerate(fails):
        covered = any(
            number & inside == inside and number & outside == 0 for inside, outside in families
        )
        assert covered == failing


def test_many_items_are_chosen_and_proven() -> None:
    """12 spots and 30 items of six rooms, five of which act on each row."""
    rng = np.random.default_rng(5)
    rows = []
    for number in range(12):
        items = 5 * (number % 6) + np.arange(5)
        strength = rng.uniform(0.1, 0.5, 5)
        sets = (np.arange(32)[:, None] >> np.arange(5)) & 1
        rows.append(Row(items, np.minimum(1.0, 0.2 + sets @ strength)))
    choice = choose(Offer(np.round(rng.uniform(50, 900, 30)), (), tuple(rows), 0.9))
    assert choice.reached and choice.proven
    assert all(is_held(row, choice.items, 0.9) for row in rows)
    for item in choice.items:  # none of them is idle
        fewer = tuple(other for other in choice.items if other != item)
        assert not all(is_held(row, fewer, 0.9) for row in rows)
