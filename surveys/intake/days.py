"""Days as people write them in a cell; one that can be read in two ways is refused with both."""

import re
from collections.abc import Mapping
from datetime import date
from types import MappingProxyType

from django.utils.translation import gettext

_ISO = re.compile(r"(\d{4})-(\d{2})-(\d{2})", re.ASCII)
_WITH_DOTS = re.compile(r"(\d{1,2})\.\s?(\d{1,2})\.\s?(\d{4})", re.ASCII)
_WITH_SLASHES = re.compile(r"(\d{1,2})[/-](\d{1,2})[/-](\d{4})", re.ASCII)
_DAY_FIRST = re.compile(r"(\d{1,2})\.?\s+([^\W\d_]{3,9})\.?,?\s+(\d{4})")
_MONTH_FIRST = re.compile(r"([^\W\d_]{3,9})\.?\s+(\d{1,2})(?:st|nd|rd|th)?,?\s+(\d{4})")

_MONTHS = (
    ("january", "januar", "jänner"), ("february", "februar"), ("march", "märz", "maerz"),
    ("april",), ("may", "mai"), ("june", "juni"), ("july", "juli"), ("august",), ("september",),
    ("october", "oktober"), ("november",), ("december", "dezember"),
)  # fmt: skip


def _by_beginning() -> Mapping[str, int]:
    """Each month by its names in English and German, and by their first three and four letters."""
    return {
        name[:length]: number
        for number, names in enumerate(_MONTHS, start=1)
        for name in names
        for length in (3, 4, len(name))
    }


MONTH_OF: Mapping[str, int] = MappingProxyType(_by_beginning())


class WrongDay(Exception):
    """A cell that is no day; its text says what is allowed."""


def day_of(word: str) -> date:
    """The day that a cell holds.

    With dots the day stands first, with hyphens the year. Between slashes either order is in use,
    so a day is taken only where the other order gives none.
    """
    text = word.strip()
    if match := _ISO.fullmatch(text):
        year, month, day = map(int, match.groups())
        return _day(year, month, day)
    if match := _WITH_DOTS.fullmatch(text):
        day, month, year = map(int, match.groups())
        return _day(year, month, day)
    if match := _WITH_SLASHES.fullmatch(text):
        return _one_reading(*map(int, match.groups()))
    for pattern, at in ((_DAY_FIRST, (0, 1)), (_MONTH_FIRST, (1, 0))):
        if match := pattern.fullmatch(text):
            groups = match.groups()
            month_number = MONTH_OF.get(groups[at[1]].casefold())
            if month_number is not None:
                return _day(int(groups[2]), month_number, int(groups[at[0]]))
    raise WrongDay(gettext("a date such as 2026-03-14"))


def _one_reading(first: int, second: int, year: int) -> date:
    readings = {
        day
        for month, number in ((first, second), (second, first))
        if (day := _or_none(year, month, number)) is not None
    }
    if len(readings) > 1:
        words = gettext("%(first)s or %(second)s? Write which of them it is.")
        days = sorted(readings)
        raise WrongDay(words % {"first": days[0].isoformat(), "second": days[1].isoformat()})
    if not readings:
        raise WrongDay(gettext("a day of the calendar, such as 2026-03-14"))
    return readings.pop()


def _day(year: int, month: int, day: int) -> date:
    a_day = _or_none(year, month, day)
    if a_day is None:
        raise WrongDay(gettext("a day of the calendar, such as 2026-03-14"))
    return a_day


def _or_none(year: int, month: int, day: int) -> date | None:
    try:
        return date(year, month, day)
    except ValueError:
        return None
