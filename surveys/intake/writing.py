"""Case folders out: tables of typed cells as CSV or XLSX that no spreadsheet takes for formulas."""

import csv
import io
import json
from collections.abc import Mapping, Sequence
from datetime import date
from typing import TypeAlias

import xlsxwriter
from xlsxwriter.workbook import Workbook
from xlsxwriter.worksheet import Worksheet

from surveys.intake.casefile import SHEET_HEADER
from surveys.intake.columns import CASE_KEYS, COLUMNS
from surveys.intake.sources import CASE, pack
from surveys.intake.tables import looks_like_formula

Cell: TypeAlias = str | float | int | date | None
Rows: TypeAlias = Sequence[Sequence[Cell]]
CaseValues: TypeAlias = Mapping[str, str | float | int]


def guarded(cell: Cell) -> str | float | int | None:
    """A cell as it is written: text that could be a formula gets an apostrophe before it."""
    if isinstance(cell, str):
        return f"'{cell}" if looks_like_formula(cell) else cell
    if isinstance(cell, date):
        return cell.isoformat()
    if isinstance(cell, float) and cell.is_integer() and abs(cell) < 1e15:
        return int(cell)
    return cell


def write_folder(case: CaseValues, tables: Mapping[str, Rows]) -> bytes:
    """A zip of case.toml and a CSV file for each table; the columns are those of the format."""
    content = {CASE: _toml(case)}
    for name, rows in tables.items():
        content[name] = csv_table(name, rows).encode()
    return pack(content)


def csv_table(name: str, rows: Rows) -> str:
    """One table as the text of its file."""
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(column.name for column in COLUMNS[name])
    writer.writerows([_csv_text(cell) for cell in row] for row in rows)
    return text.getvalue()


def _csv_text(cell: Cell) -> str:
    written = guarded(cell)
    return "" if written is None else repr(written) if isinstance(written, float) else str(written)


def _toml(case: CaseValues) -> bytes:
    lines: list[str] = []
    section = ""
    for key in CASE_KEYS:
        value = case.get(key.name)
        if value is None or value == "":
            continue
        if key.section != section:
            section = key.section
            lines += ["", f"[{section}]"]
        lines.append(f"{key.key} = {_toml_value(value)}")
    return ("\n".join(lines) + "\n").encode()


def _toml_value(value: str | float | int) -> str:
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    return str(guarded(value))


def open_workbook(buffer: io.BytesIO) -> Workbook:
    """A workbook whose texts stay texts."""
    return xlsxwriter.Workbook(
        buffer,
        {
            "in_memory": True,
            "constant_memory": True,
            "strings_to_formulas": False,
            "strings_to_urls": False,
            "strings_to_numbers": False,
        },
    )


def write_workbook(case: CaseValues, tables: Mapping[str, Rows]) -> bytes:
    """An XLSX with the sheet "case" and a sheet for each table."""
    buffer = io.BytesIO()
    book = open_workbook(buffer)
    head = [(key.section, key.key, case.get(key.name)) for key in CASE_KEYS]
    _write_sheet(book, CASE, SHEET_HEADER, head)
    for name, rows in tables.items():
        _write_sheet(book, name, [column.name for column in COLUMNS[name]], rows)
    book.close()
    return buffer.getvalue()


def sheet_name(file_name: str) -> str:
    """The sheet that stands for a file."""
    return file_name.partition(".")[0]


def _write_sheet(book: Workbook, name: str, header: Sequence[str], rows: Rows) -> None:
    sheet: Worksheet = book.add_worksheet(sheet_name(name))
    bold = book.add_format({"bold": True})
    sheet.freeze_panes(1, 0)
    for place, title in enumerate(header):
        sheet.write_string(0, place, title, bold)
    for number, row in enumerate(rows, start=1):
        for place, cell in enumerate(row):
            written = guarded(cell)
            if isinstance(written, str):
                sheet.write_string(number, place, written)
            elif written is not None:
                sheet.write_number(number, place, written)
