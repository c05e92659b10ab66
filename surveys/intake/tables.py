"""A table of text cells, whichever kind of file it came from."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import zip_longest
from typing import Any, TypeVar

import numpy as np
from django.utils.translation import gettext

from consult.models.texts import is_control
from surveys.calc.arrays import IntArray
from surveys.intake.columns import NOTE, ColumnSpec, at_most
from surveys.intake.faults import MOST_SHOWN, FaultLog

T = TypeVar("T")

_ROWS_AT_ONCE = 2_000  # a few thousand rows stay in the cache while they are turned
# A cell that a spreadsheet would take for a formula is written with an apostrophe before it.
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\0")


def looks_like_formula(text: str) -> bool:
    """True for text that is written with one more apostrophe than it has."""
    return text.lstrip("'").startswith(FORMULA_STARTS)


def cleaned(text: str) -> str:
    """A cell without the blanks round it and the apostrophe that kept it from being a formula."""
    text = text.strip()
    if text.startswith("'") and looks_like_formula(text):
        return text[1:]
    return text


@dataclass(frozen=True)
class RawTable:
    """Rows as they stand in a file; the first is the header, empty rows keep their place."""

    label: str
    rows: Sequence[Sequence[str]]
    comma_is_decimal: bool = False


@dataclass(frozen=True)
class Column:
    """The cells of a column: its distinct words, and for each row which of them."""

    words: list[str]
    codes: IntArray

    @cached_property
    def texts(self) -> list[str]:
        """The cells, row by row."""
        return self.spread(self.words)

    def spread(self, values: Sequence[T]) -> list[T]:
        """One of `values` a row, `values` going with the distinct words."""
        return [values[code] for code in self.codes.tolist()]

    def parsed(self, parse: Callable[[str], T], empty: T) -> list[T]:
        """Each distinct word through `parse`, which is sure to accept it."""
        return [parse(word) if word else empty for word in self.words]

    @cached_property
    def is_empty(self) -> np.ndarray:
        """True for each row whose cell is empty."""
        empty = np.fromiter((not word for word in self.words), dtype=bool, count=len(self.words))
        return np.asarray(empty[self.codes])


def column_of(cells: Sequence[str]) -> Column:
    """A column from its cells: each distinct cell is cleaned once."""
    code_of = _Codes()
    codes = np.fromiter(map(code_of.__getitem__, cells), dtype=np.int64, count=len(cells))
    return Column(list(code_of.words), codes)


class _Codes(dict[str, int]):
    """The code of each cell; cells that are the same word when cleaned share one."""

    def __init__(self) -> None:
        super().__init__()
        self.words: dict[str, int] = {}

    def __missing__(self, cell: str) -> int:
        code = self[cell] = self.words.setdefault(cleaned(cell), len(self.words))
        return code


@dataclass
class Table:
    """The filled rows of a file by column, with the row numbers of the file."""

    label: str
    columns: dict[str, Column]
    row_numbers: IntArray
    comma_is_decimal: bool
    log: FaultLog = field(repr=False)
    order: dict[str, int] = field(default_factory=dict, repr=False)

    def __len__(self) -> int:
        return len(self.row_numbers)

    def __getitem__(self, name: str) -> Column:
        return self.columns[name]

    def has(self, name: str) -> bool:
        """True if the file has this column."""
        return name in self.order

    def fault(self, rows: Any, name: str, allowed: str, found: str | None = None) -> None:
        """Note a fault in column `name` at each of `rows` (places in this table)."""
        places = np.asarray(rows, dtype=np.int64).reshape(-1)
        column = self.columns.get(name)
        for place in places[:MOST_SHOWN].tolist():
            cell = found
            if cell is None and column is not None:
                cell = column.words[column.codes[place]]
            order = self.order.get(name, len(self.order))
            self.log.add(self.label, int(self.row_numbers[place]), name, cell, allowed, order=order)
        self.log.add_uncounted(max(len(places) - MOST_SHOWN, 0))

    def fault_words(self, name: str, wrong: dict[int, str]) -> None:
        """Note a fault at each row whose word in a column is one of `wrong` (code: allowed)."""
        column = self.columns[name]
        if not wrong:
            return
        places = np.flatnonzero(np.isin(column.codes, list(wrong)))
        for allowed in dict.fromkeys(wrong.values()):
            codes = [code for code, word in wrong.items() if word == allowed]
            self.fault(places[np.isin(column.codes[places], codes)], name, allowed)


def table_of(raw: RawTable, specs: Sequence[ColumnSpec], most_rows: int, log: FaultLog) -> Table:
    """The table of a file, its columns named and its rows counted; faults go to `log`."""
    header = [cleaned(cell).casefold() for cell in raw.rows[0]] if raw.rows else []
    width = len(header)
    while header and not header[-1]:
        header.pop()
    order = _checked_header(raw, header, specs, log)
    kept = [n for n, row in enumerate(raw.rows[1:], start=2) if any(map(str.strip, row))]
    numbers = np.asarray(kept, dtype=np.int64)
    if len(kept) > most_rows:
        found = gettext("%(n)s rows") % {"n": len(kept)}
        log.add(raw.label, None, None, found, gettext("at most %(n)s rows") % {"n": most_rows})
        kept, numbers = [], numbers[:0]
    rows = [raw.rows[n - 1] for n in kept]
    _check_widths(raw.label, rows, numbers, width, log)
    cells = _by_column(rows, width)
    nothing = [""] * len(rows)
    columns = {
        spec.name: column_of(cells[order[spec.name]] if spec.name in order else nothing)
        for spec in specs
    }
    table = Table(raw.label, columns, numbers, raw.comma_is_decimal, log, order)
    for place, cell_column in enumerate(cells[len(header) : width], start=len(header) + 1):
        _check_nameless(table, place, cell_column)
    for spec in specs:
        _check_texts(table, spec)
    return table


def _by_column(rows: Sequence[Sequence[str]], width: int) -> list[list[str]]:
    """The cells by column; a short row ends in empty cells, what is over the width is left out."""
    columns: list[list[str]] = [[] for _ in range(width)]
    full = [""] * width
    for start in range(0, len(rows), _ROWS_AT_ONCE):
        some = rows[start : start + _ROWS_AT_ONCE]
        for column, cells in zip(columns, zip_longest(full, *some, fillvalue=""), strict=False):
            column.extend(cells[1:])
    return columns


def _checked_header(
    raw: RawTable, header: list[str], specs: Sequence[ColumnSpec], log: FaultLog
) -> dict[str, int]:
    known = [spec.name for spec in specs]
    order: dict[str, int] = {}
    for place, name in enumerate(header):
        if name in order:
            log.add(raw.label, 1, name, name, gettext("each column once"), order=place)
        elif name not in known:
            allowed = gettext("the columns %(names)s") % {"names": ", ".join(known)}
            column = name or _numbered(place + 1)
            log.add(raw.label, 1, column, name, allowed, order=place)
        else:
            order[name] = place
    for spec in specs:
        if spec.required and spec.name not in order:
            wanted = gettext("this column, it is required")
            log.add(raw.label, 1, spec.name, None, wanted, order=len(header))
    return order


def _check_widths(
    label: str, rows: Sequence[Sequence[str]], numbers: IntArray, width: int, log: FaultLog
) -> None:
    """A row with more cells than the header has slipped; one with fewer ends in empty cells."""
    lengths = np.fromiter(map(len, rows), dtype=np.int64, count=len(rows))
    wide = np.flatnonzero(lengths > width)
    for place in wide[:MOST_SHOWN].tolist():
        found = gettext("%(n)s cells") % {"n": lengths[place]}
        allowed = gettext(
            "%(n)s as in the header; a cell that holds the separator stands in quotes"
        ) % {"n": width}
        log.add(label, int(numbers[place]), None, found, allowed, order=width)
    log.add_uncounted(max(len(wide) - MOST_SHOWN, 0))


def _check_nameless(table: Table, place: int, cells: Sequence[str]) -> None:
    filled = [n for n, cell in enumerate(cells) if cell.strip()]
    for row in filled[:MOST_SHOWN]:
        table.log.add(
            table.label,
            int(table.row_numbers[row]),
            _numbered(place),
            cells[row],
            gettext("nothing under an empty header"),
            order=place,
        )
    table.log.add_uncounted(max(len(filled) - MOST_SHOWN, 0))


def _numbered(place: int) -> str:
    return gettext("number %(n)s") % {"n": place}


def _check_texts(table: Table, spec: ColumnSpec) -> None:
    """Required cells are filled, texts fit, and hold nothing that can't be stored or printed."""
    column = table[spec.name]
    if spec.required and table.has(spec.name):
        table.fault(
            np.flatnonzero(column.is_empty), spec.name, f"{spec.says}; {gettext('it is required')}"
        )
    wrong: dict[int, str] = {}
    for code, word in enumerate(column.words):
        if len(word) > spec.longest:
            wrong[code] = at_most(spec.longest)
        elif not word.isprintable() and any(map(is_control, word)):
            wrong[code] = gettext("text without control characters")
        elif spec.longest < NOTE and len(word.splitlines()) > 1:
            wrong[code] = gettext("one line of text")
    table.fault_words(spec.name, wrong)


def places(table: Table) -> Iterator[int]:
    """The places of the rows, for small tables."""
    return iter(range(len(table)))
