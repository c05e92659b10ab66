"""Rule highest-2."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from surveys.calc.highest import HIGHEST, Ground, highest
from surveys.calc.qualifiers import Qualifier
from tests.calc.build import NAN, bools, codes, floats


def chosen(groups: list[int], values: list[float], words: list[str]) -> dict[int, int]:
    """Group -> row."""
    found, rows = highest(np.array(groups), floats(*values), codes(*words))
    return dict(zip(found.tolist(), rows.tolist(), strict=True))


def test_identifier() -> None:
    assert HIGHEST == "highest-2"


def test_the_highest_of_each_group() -> None:
    assert chosen([1, 0, 1, 0, 7], [3, 9, 5, 2, 1], [""] * 5) == {0: 1, 1: 2, 7: 4}


def test_upper_bounds_count_as_values() -> None:
    """'<6' may be more than 5, so it stands for the spot; the cautious way."""
    assert chosen([0, 0, 0], [5, 6, 4], ["", "<", "\u2264"]) == {0: 1}


def test_out_of_range_outranks_every_other() -> None:
    assert chosen([0, 0, 0], [9000, 200, 9500], ["", ">", "\u2264"]) == {0: 1}


def test_of_two_out_of_range_the_higher_number() -> None:
    assert chosen([0, 0, 0], [200, 2000, 9000], [">", ">", ""]) == {0: 1}


def test_on_a_tie_the_first_row() -> None:
    assert chosen([0, 0, 0], [5, 5, 5], ["", "<", "\u2264"]) == {0: 0}
    assert chosen([0, 0, 0], [4, 5, 5], ["", "<", ""]) == {0: 1}
    assert chosen([0, 0, 0], [4, 5, 5], ["", ">", ">"]) == {0: 1}


def test_trials_and_readings_set_aside_do_not_count() -> None:
    groups, rows = highest(
        np.array([0, 0, 1, 2]),
        floats(9, 5, 3, NAN),
        codes(">", "", "", ""),
        bools(False, True, True, False),
    )
    assert groups.tolist() == [0, 1]
    assert rows.tolist() == [1, 2]


def test_what_stands_on_faulty_ground_does_not_compete_with_sound_ground() -> None:
    faulty, sound, none = Ground.FAULTY, Ground.SOUND, Ground.NONE
    for ground, winner in (
        ((faulty, sound, sound), 2),
        ((faulty, faulty, sound), 2),
        ((faulty, faulty, faulty), 0),
        ((faulty, none, none), 0),  # nothing else stands on a point at all
        ((none, none, none), 0),
        ((sound, faulty, faulty), 0),
    ):
        _groups, rows = highest(
            np.array([4, 4, 4]), floats(9, 5, 7), codes("", "", ""), None, np.array(ground, np.int8)
        )
        assert rows.tolist() == [winner], ground


def test_not_even_over_range_on_faulty_ground_and_only_in_its_own_group() -> None:
    ground = np.array([Ground.FAULTY, Ground.SOUND, Ground.FAULTY], np.int8)
    groups, rows = highest(
        np.array([0, 0, 1]), floats(2000, 5, 3), codes(">", "", ""), bools(True, True, True), ground
    )
    assert (groups.tolist(), rows.tolist()) == ([0, 1], [1, 2])


def test_a_sound_one_that_does_not_count_saves_nothing() -> None:
    ground = np.array([Ground.FAULTY, Ground.SOUND], np.int8)
    _groups, rows = highest(
        np.array([0, 0]), floats(9, 5), codes("", ""), bools(True, False), ground
    )
    assert rows.tolist() == [0]


def test_nothing_counts() -> None:
    groups, rows = highest(np.array([0]), floats(1), codes(""), bools(False))
    assert groups.size == rows.size == 0


def test_a_reading_without_a_value_is_refused() -> None:
    with pytest.raises(ValueError, match="no value"):
        highest(np.array([0, 0]), floats(1, NAN), codes("", ""))
    with pytest.raises(ValueError, match="negative"):
        highest(np.array([-1, 0]), floats(1, 1), codes("", ""))


rows_of = st.lists(
    st.tuples(
        st.integers(0, 4),
        st.sampled_from([0.3, 1.0, 5.0, 7.25]),
        st.sampled_from(list(Qualifier)),
        st.booleans(),
    ),
    min_size=1,
    max_size=30,
)


@given(rows_of)
def test_the_same_as_asking_one_group_at_a_time(
    table: list[tuple[int, float, Qualifier, bool]],
) -> None:
    """Against max() of plain Python, which keeps the first of equals."""
    expected = {}
    for group in sorted({g for g, _, _, counts in table if counts}):
        rows = [i for i, row in enumerate(table) if row[0] == group and row[3]]
        expected[group] = max(rows, key=lambda i: (table[i][2] == Qualifier.ABOVE, table[i][1]))
    groups, rows_chosen = highest(
        np.array([row[0] for row in table]),
        floats(*(row[1] for row in table)),
        np.array([row[2] for row in table], dtype=np.int8),
        bools(*(row[3] for row in table)),
    )
    assert dict(zip(groups.tolist(), rows_chosen.tolist(), strict=True)) == expected


def test_a_hundred_thousand_rows_give_what_sorting_them_gives() -> None:
    """Another way to the same: one stable sort by group, sign and value."""
    rng = np.random.default_rng(20261125)
    n = 100_000
    group = rng.integers(0, n // 3, n)
    value = rng.lognormal(1.0, 1.5, n).round(1)
    qualifier = rng.choice(np.array([0, 0, 0, 1, 2, 3], dtype=np.int8), n)
    order = np.lexsort((-value, qualifier != 3, group))
    first = order[np.flatnonzero(np.diff(group[order], prepend=-1))]
    groups, rows = highest(group, value, qualifier)
    assert np.array_equal(rows, first)
    assert np.array_equal(groups, group[first])
