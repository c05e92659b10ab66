"""A list as an XLSX file: what stood on the page, as text, numbers and days, never as a formula."""

import io
from collections.abc import Iterable, Sequence
from datetime import date, datetime
from typing import TypeAlias

import xlsxwriter
from django.utils import timezone

Cell: TypeAlias = str | float | date | None
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\0")
LONGEST = 32_000
_OPTIONS = {"constant_memory": True, "strings_to_formulas": False, "strings_to_urls": False}


def list_workbook(*, header: Sequence[str], rows: Iterable[Sequence[Cell]]) -> bytes:
    """One sheet, written row by row, so that 50,000 rows need no memory."""
    buffer = io.BytesIO()
    book = xlsxwriter.Workbook(buffer, _OPTIONS)
    sheet = book.add_worksheet()
    bold, day = book.add_format({"bold": True}), book.add_format({"num_format": "yyyy-mm-dd"})
    for column, title in enumerate(header):
        sheet.write_string(0, column, title, bold)
    sheet.freeze_panes(1, 0)
    for number, row in enumerate(rows, start=1):
        for column, cell in enumerate(row):
            if isinstance(cell, datetime):
                cell = timezone.localtime(cell).date()
            if isinstance(cell, date):
                sheet.write_datetime(number, column, datetime(cell.year, cell.month, cell.day), day)  # noqa: DTZ001  # a sheet knows no zones
            elif isinstance(cell, int | float):
                sheet.write_number(number, column, cell)
            elif cell:
                sheet.write_string(number, column, neutral(cell))
    book.close()
    return buffer.getvalue()


def neutral(text: str) -> str:
    """The text, with an apostrophe before what another program would take for a formula."""
    text = text[:LONGEST]
    return f"'{text}" if text.startswith(FORMULA_STARTS) else text
