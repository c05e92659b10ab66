"""The states that a switching trial proposes: what each of them has to tell apart."""

import pytest

from mitigation.calc.trial_states import MIXED, proposed_states, readings_missing


@pytest.mark.parametrize("n", range(9, 24))
def test_each_source_is_off_in_a_mixed_state_and_no_state_is_one_that_is_read_anyway(n) -> None:
    states = proposed_states(n)
    mixed = [set(state) for state in states[n + 2 : -1]]
    assert len(mixed) == MIXED
    assert set.union(*mixed) == set(range(n))
    assert all(1 < len(state) < n for state in mixed)
    assert len({frozenset(state) for state in states}) == len(states) - 1  # all on comes twice


@pytest.mark.parametrize("n", range(9, 24))
def test_no_two_of_seven_sources_are_off_in_the_same_mixed_states(n) -> None:
    mixed = proposed_states(n)[n + 2 : -1]
    where = [tuple(at in state for state in mixed) for at in range(n)]
    assert len(set(where[:7])) == min(n, 7)


@pytest.mark.parametrize("n", range(3, 9))
def test_each_of_up_to_eight_sources_is_read_alone(n) -> None:
    alone = {tuple(other for other in range(n) if other != at) for at in range(n)}
    assert alone <= set(proposed_states(n))


@pytest.mark.parametrize("n", range(1, 24))
def test_what_is_proposed_can_be_checked(n) -> None:
    """n amplitudes, a phasor of the rest, and three readings more."""
    states = proposed_states(n)
    assert states[0] == states[-1] == ()
    assert {(at,) for at in range(n)} <= set(states)
    assert len(states) >= n + 2 + 3 and readings_missing(len(states), n) == 0
