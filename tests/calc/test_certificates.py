"""The certificate in force is the latest begun by the day; whether it covers the day is apart."""

from datetime import date

import pytest

from surveys.calc.certificates import covers, in_force

MAY, JUNE, JULY = (date(2026, month, 1) for month in (5, 6, 7))


@pytest.mark.parametrize(
    ("began", "expected"),
    [
        ({1: MAY, 2: JULY}, 1),
        ({1: MAY, 2: JUNE}, 2),  # begun on the very day
        ({1: JUNE, 2: MAY}, 1),  # by the day it began, not by the order of entry
        ({1: None, 2: MAY}, 2),  # without a day it has begun before every day
        ({1: None, 2: JULY}, 1),
        ({1: MAY, 2: MAY}, 2),  # of one day: the one that was entered later
        ({2: MAY, 1: MAY}, 2),
        ({2: JULY, 1: date(2026, 8, 1)}, 2),  # all begin later: the first describes the meter
        ({}, None),
    ],
)
def test_the_latest_that_began_by_the_day_is_in_force(began, expected) -> None:
    assert in_force(JUNE, began) == expected


@pytest.mark.parametrize(
    ("began", "due", "expected"),
    [
        (MAY, JULY, True),
        (JUNE, JUNE, True),  # its first day and its last are covered
        (MAY, date(2026, 5, 31), False),
        (date(2026, 6, 2), JULY, False),
        (None, JUNE, True),
        (MAY, None, True),
        (None, None, True),
    ],
)
def test_a_certificate_covers_from_its_first_day_to_its_last(began, due, expected) -> None:
    assert covers(JUNE, began, due) is expected
