"""Rule latest-1."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from mitigation.calc.latest import LATEST, latest


def chosen(*rows: tuple[int, int, int]) -> list[int]:
    """The chosen rows of (group, day, place of the visit)."""
    group, day, order = (np.array(column, dtype=np.int64) for column in zip(*rows, strict=True))
    return latest(group, day, order).tolist()


def test_identifier() -> None:
    assert LATEST == "latest-1"


def test_the_latest_day_of_each_group() -> None:
    assert chosen((0, 10, 0), (1, 10, 0), (0, 30, 1)) == [2, 1]


def test_a_visit_that_measured_one_spot_leaves_the_others_as_they_were() -> None:
    assert chosen((5, 10, 0), (6, 10, 0), (7, 10, 0), (6, 30, 1)) == [0, 3, 2]


def test_on_equal_days_the_first_visit() -> None:
    assert chosen((0, 10, 1), (0, 10, 0)) == [1]


def test_no_findings() -> None:
    none = np.zeros(0, dtype=np.int64)
    assert latest(none, none, none).size == 0


@given(st.lists(st.tuples(st.integers(0, 3), st.integers(0, 3), st.integers(0, 9)), min_size=1))
def test_as_one_would_choose_by_hand(rows: list[tuple[int, int, int]]) -> None:
    by_hand: dict[int, int] = {}
    for at, (group, day, order) in enumerate(rows):
        best = by_hand.setdefault(group, at)
        if (-day, order) < (-rows[best][1], rows[best][2]):
            by_hand[group] = at
    latest_rows = chosen(*rows)
    assert [rows[at][0] for at in latest_rows] == list(by_hand)
    assert [rows[at][1:] for at in latest_rows] == [rows[at][1:] for at in by_hand.values()]
