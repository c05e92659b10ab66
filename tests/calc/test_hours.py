"""An hour as people type it, and the time that it stands for."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from surveys.calc.hours import time_of

DAY = date(2026, 3, 14)
BERLIN = ZoneInfo("Europe/Berlin")


@pytest.mark.parametrize(
    ("text", "utc"),
    [
        ("21:10", "2026-03-14 20:10:00"),
        (" 9:05 ", "2026-03-14 08:05:00"),
        ("21.10", "2026-03-14 20:10:00"),
        ("21h10", "2026-03-14 20:10:00"),
        ("21:10:07", "2026-03-14 20:10:07"),
        ("21:10 Uhr", "2026-03-14 20:10:00"),
        ("21 Uhr", "2026-03-14 20:00:00"),
        ("9 pm", "2026-03-14 20:00:00"),
        ("9:10 P.M.", "2026-03-14 20:10:00"),
        ("12 am", "2026-03-13 23:00:00"),
        ("12:30pm", "2026-03-14 11:30:00"),
        ("2026-03-15 00:20", "2026-03-14 23:20:00"),
        ("2026-03-14T21:10:05Z", "2026-03-14 21:10:05"),
        ("2026-03-14T21:10:05.25-05:00", "2026-03-15 02:10:05"),
        ("2026-03-14 21:10 +0200", "2026-03-14 19:10:00"),
    ],
)
def test_an_hour_tells_a_time(text, utc):
    wanted = datetime.fromisoformat(utc).replace(tzinfo=UTC)
    assert time_of(text, DAY, BERLIN) == wanted


@pytest.mark.parametrize(
    "text",
    ["", "21", "2110", "evening", "24:00", "21:60", "13 pm", "0:10 am", "about 21:10",
     "21:10-21:20", "3.5", "2026-02-30 10:00", "0001-01-01 00:00", "21:10 +0200",
     "2026-03-14 21:10 +9999"],
)  # fmt: skip
def test_what_tells_no_time_for_sure_is_none(text):
    assert time_of(text, DAY, BERLIN) is None


@pytest.mark.parametrize(("day", "text"), [("2026-03-29", "2:30"), ("2026-10-25", "2:30")])
def test_an_hour_that_was_skipped_or_came_twice_is_no_time(day, text):
    """The clocks of central Europe change in these nights, at 2 and at 3 (Directive 2000/84/EC)."""
    on = date.fromisoformat(day)
    assert time_of(text, on, BERLIN) is None
    later = time_of("3:30", on, BERLIN)
    assert later is not None and later.utcoffset() in (timedelta(hours=1), timedelta(hours=2))
    assert time_of(f"{day} {text} +01:00", on, BERLIN) is not None


@given(st.text(max_size=40), st.dates())
def test_no_text_breaks_it(text, day):
    told = time_of(text, day, BERLIN)
    assert told is None or told.astimezone(UTC).tzinfo is UTC
