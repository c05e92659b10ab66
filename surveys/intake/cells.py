"""Whole columns of cells to numbers, dates and words; each distinct cell is read once."""

import re
from collections.abc import Callable, Mapping
from datetime import date
from typing import TypeVar

import numpy as np
from django.utils.translation import gettext

from surveys.calc.arrays import CodeArray, FloatArray
from surveys.calc.resultant import MARK_BELOW, MARK_PLAIN
from surveys.calc.units import parse_unit
from surveys.intake.days import WrongDay, day_of
from surveys.intake.tables import Table
from surveys.models.displays import MARK_CODES

T = TypeVar("T")

_NUMBER = re.compile(r"-?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?", re.ASCII)
_GROUPED = re.compile(r"-?[1-9]\d{0,2},\d{3}", re.ASCII)
# No cell holds a number outside, and inside no square and no quotient runs over.
SMALLEST, LARGEST = 1e-12, 1e12


class NotAllowed(ValueError):
    """A word that a column does not take; the text says what it takes."""


def number_of(word: str, comma_is_decimal: bool, says: str) -> float:
    """The number that a cell holds.

    In a comma-separated file and in a spreadsheet a decimal comma is taken too, unless it could as
    well part thousands.
    """
    if "." in word and "," in word:
        raise NotAllowed(gettext("a number with one decimal mark, not '.' and ',' together"))
    if not _NUMBER.fullmatch(word):
        raise NotAllowed(says)
    if "," in word:
        if not comma_is_decimal and _GROUPED.fullmatch(word):
            dot = gettext("write '.', for ',' could part thousands here")
            raise NotAllowed(f"{says}; {dot}")
        word = word.replace(",", ".")
    value = float(word)
    if not is_plausible(value):
        raise NotAllowed(gettext("0, or a number from 1e-12 to 1e12"))
    return value


def is_plausible(value: float) -> bool:
    """Whether the number can come of a display, a certificate or a thermometer."""
    return value == 0 or SMALLEST <= abs(value) <= LARGEST


def date_of(word: str) -> date:
    """The day that a cell holds, however it is written."""
    try:
        return day_of(word)
    except WrongDay as error:
        raise NotAllowed(str(error)) from error


def normal(word: str) -> str:
    """A keyword whatever its case, blanks, hyphens and underscores."""
    return "".join(re.split(r"[\s_\-\u2010-\u2013]+", word.casefold()))


def read_words(table: Table, name: str, parse: Callable[[str], T], empty: T) -> list[T]:
    """Each distinct word through `parse`; what it refuses becomes a fault and `empty`."""
    values: list[T] = []
    wrong: dict[int, str] = {}
    for code, word in enumerate(table[name].words):
        value = empty
        if word:
            try:
                value = parse(word)
            except NotAllowed as error:
                wrong[code] = str(error)
        values.append(value)
    table.fault_words(name, wrong)
    return values


def numbers(table: Table, name: str, check: Callable[[float], bool], says: str) -> FloatArray:
    """A column of numbers that pass `check`; NaN where the cell is empty or wrong."""

    def parse(word: str) -> float:
        value = number_of(word, table.comma_is_decimal, says)
        if not check(value):
            raise NotAllowed(says)
        return value

    values = read_words(table, name, parse, np.nan)
    return np.asarray(values, dtype=np.float64)[table[name].codes] if values else np.empty(0)


def marked_numbers(table: Table, name: str) -> tuple[FloatArray, CodeArray]:
    """A column of readings: their values (NaN = empty), and -1 for "<", 1 for ">", else 0."""
    says = gettext("a number of 0 or more, such as 4.2, <0.3 or >2000")
    comma = table.comma_is_decimal

    def parse(word: str) -> tuple[float, int]:
        mark = MARK_CODES.get(word[0], MARK_PLAIN)
        value = number_of(word[1:].strip() if mark else word, comma, says)
        if value < 0 or word.startswith("-"):
            raise NotAllowed(says)
        if mark == MARK_BELOW and value == 0:
            raise NotAllowed(f"{says}; {gettext('nothing is under 0')}")
        return value, mark

    read = read_words(table, name, parse, (np.nan, 0))
    if not read:
        return np.empty(0), np.empty(0, dtype=np.int8)
    codes = table[name].codes
    values = np.asarray([value for value, _ in read], dtype=np.float64)
    marks = np.asarray([mark for _, mark in read], dtype=np.int8)
    return values[codes], marks[codes]


def choices(table: Table, name: str, allowed: tuple[str, ...]) -> list[str]:
    """A column of keywords: for each distinct word the keyword that it is, "" for none."""
    known = {normal(word): word for word in allowed}

    def parse(word: str) -> str:
        found = known.get(normal(word))
        if found is None:
            raise NotAllowed(", ".join(allowed))
        return found

    return read_words(table, name, parse, "")


def units(table: Table, name: str) -> list[str]:
    """A column of units: for each distinct word its one spelling, "" for none."""

    def parse(word: str) -> str:
        try:
            return parse_unit(word)
        except ValueError as error:
            raise NotAllowed("V/m, kV/m, mV, V, nT, µT, uT, mG") from error

    return read_words(table, name, parse, "")


def among(table: Table, name: str, known: Mapping[str, T], empty: T, what: str) -> list[T]:
    """A column of names that another file holds: what `known` says of each distinct word."""
    shown = ", ".join(list(known)[:12]) + (" ..." if len(known) > 12 else "")

    def parse(word: str) -> T:
        if word not in known:
            raise NotAllowed(f"{what}: {shown or gettext('none there')}")
        return known[word]

    return read_words(table, name, parse, empty)
