"""Days in a cell: as people write them, and refused where they can be read in two ways."""

from contextlib import suppress
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from surveys.intake.days import WrongDay, day_of

THE_DAY = date(2026, 9, 14)


@pytest.mark.parametrize(
    "word",
    [
        "2026-09-14", "14.09.2026", "14.9.2026", "14. 9. 2026", "Sept 14, 2026", "Sep 14 2026",
        "September 14, 2026", "14 September 2026", "14. September 2026", "14 sept. 2026",
        "Sept. 14th, 2026", "14/09/2026", "09/14/2026", "14-09-2026", " 14.09.2026 ",
    ],
)  # fmt: skip
def test_a_day_however_it_is_written(word: str) -> None:
    assert day_of(word) == THE_DAY


@pytest.mark.parametrize(
    ("word", "month"),
    [("3 März 2026", 3), ("3. Mai 2026", 5), ("3 Okt 2026", 10), ("Dez 3 2026", 12),
     ("3 June 2026", 6), ("3 Juli 2026", 7), ("Jul 3, 2026", 7), ("3 Jänner 2026", 1)],
)  # fmt: skip
def test_months_in_both_languages(word: str, month: int) -> None:
    assert day_of(word) == date(2026, month, 3)


@pytest.mark.parametrize("word", ["03/04/2026", "4/3/2026", "03-04-2026"])
def test_a_day_that_can_be_read_in_two_ways_is_refused_with_both(word: str) -> None:
    with pytest.raises(WrongDay, match="2026-03-04 or 2026-04-03"):
        day_of(word)


def test_the_same_day_in_either_order_is_one() -> None:
    assert day_of("05/05/2026") == date(2026, 5, 5)


@pytest.mark.parametrize(
    "word",
    ["", "soon", "2026-13-01", "2026-02-30", "31.02.2026", "14.09.26", "9/14/26", "14 Foo 2026",
     "2026/09/14", "20260914", "14.09", "32/13/2026", "١٤.٠٩.٢٠٢٦", "0.9.2026"],
)  # fmt: skip
def test_what_is_no_day_is_refused_with_what_is_allowed(word: str) -> None:
    with pytest.raises(WrongDay, match="2026-03-14"):
        day_of(word)


@given(st.dates(min_value=date(1900, 1, 1), max_value=date(2199, 12, 31)))
def test_every_day_comes_back(day: date) -> None:
    assert day_of(day.isoformat()) == day
    assert day_of(f"{day.day}.{day.month}.{day.year}") == day
    assert day_of(f"{day:%B} {day.day}, {day.year}") == day


@given(st.text(max_size=20))
def test_any_text_is_a_day_or_refused(word: str) -> None:
    with suppress(WrongDay):
        assert isinstance(day_of(word), date)
