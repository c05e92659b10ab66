"""Lists as an XLSX file: what stands on the page, as text, numbers and days, never as a formula."""

import io
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, TypeAlias

import xlsxwriter
from django.db.models import QuerySet
from django.utils import timezone
from xlsxwriter.worksheet import Worksheet

Cell: TypeAlias = str | float | date | None
Column: TypeAlias = tuple[str, Callable[[Any], Cell]]  # its title, and its cell of a row
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "\0")
LONGEST = 32_000
CHUNK = 2_000
_OPTIONS = {"constant_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
_NOT_IN_NAMES = str.maketrans(dict.fromkeys("[]:*?/\\'", " "))


@dataclass(frozen=True)
class Sheet:
    """One list: its name, its columns, and its rows in the order of the page."""

    name: str
    columns: Sequence[Column]
    rows: Iterable[Any]


def write_workbook(*, sheets: Sequence[Sheet]) -> bytes:
    """A sheet for each list, written row by row, so that only the packed file is in memory."""
    file = io.BytesIO()
    book = xlsxwriter.Workbook(file, _OPTIONS)
    formats = {
        "head": book.add_format({"bold": True}),
        "day": book.add_format({"num_format": "yyyy-mm-dd"}),
        "moment": book.add_format({"num_format": "yyyy-mm-dd hh:mm"}),
    }
    for sheet in sheets:
        page = book.add_worksheet(sheet.name.translate(_NOT_IN_NAMES)[:31])
        page.freeze_panes(1, 0)
        page.set_column(0, len(sheet.columns) - 1, 18)
        for column, (title, _value) in enumerate(sheet.columns):
            page.write_string(0, column, title, formats["head"])
        for number, row in enumerate(_one_by_one(sheet.rows), start=1):
            for column, (_title, value) in enumerate(sheet.columns):
                _write(page, number, column, value(row), formats)
    book.close()
    return file.getvalue()


def _one_by_one(rows: Iterable[Any]) -> Iterable[Any]:
    return rows.iterator(chunk_size=CHUNK) if isinstance(rows, QuerySet) else rows


def _write(page: Worksheet, row: int, column: int, cell: Cell, formats: dict[str, Any]) -> None:
    if isinstance(cell, datetime):
        local = timezone.localtime(cell).replace(tzinfo=None)  # a sheet knows no zones
        page.write_datetime(row, column, local, formats["moment"])
    elif isinstance(cell, date):
        page.write_datetime(row, column, cell, formats["day"])
    elif isinstance(cell, int | float):
        page.write_number(row, column, cell)
    elif cell:
        page.write_string(row, column, neutral(cell))


def neutral(text: str) -> str:
    """The text, with an apostrophe before what another program would take for a formula."""
    text = text[:LONGEST]
    return f"'{text}" if text.startswith(FORMULA_STARTS) else text
