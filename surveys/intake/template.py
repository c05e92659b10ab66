"""The empty XLSX template: a sheet for each file, lists to choose from, a page of explanations."""

import io
from collections.abc import Mapping, Sequence
from typing import Any

from django.db.models import QuerySet
from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _
from xlsxwriter.workbook import Workbook
from xlsxwriter.worksheet import Worksheet

from surveys.intake.casefile import SHEET_HEADER
from surveys.intake.columns import CASE_KEYS, COLUMNS, ColumnSpec, KeySpec
from surveys.intake.sources import (
    APPLIANCES,
    CASE,
    CIRCUITS,
    INSTRUMENTS,
    READINGS,
    REMEDIES,
    VISITS,
)
from surveys.intake.workbook import EXPLANATIONS
from surveys.intake.writing import open_workbook, sheet_name
from surveys.models import Guideline

_LAST_ROW = 5_000
_LONGEST_MESSAGE = 250
_INTRODUCTION = (
    _("One workbook is one case. Fill in the sheets; this page is not read."),
    _(
        "Columns in bold are required. The others may stay empty or be taken out. "
        "Others are refused."
    ),
    _(
        "Numbers and dates may be typed as such. Write <0.3 for a display under the range of the "
        "instrument, >2000 for one over it. No formulas: paste their values."
    ),
    _("A reading has either a total or one to three axes. Readings are never negative."),
    _("Of several visits of a kind the latest counts. Visits are sealed when they are imported."),
    _(
        "Where the sheet circuits is filled in, circuits_off may name only what the sheets "
        "circuits and appliances list; * alone says that the main switch was off."
    ),
    _("Work on wiring is for a licensed electrician. Never disconnect a protective earth."),
)


def write_template(remedies: Mapping[str, str] | None = None) -> bytes:
    """The template, ready to be filled in and imported.

    `remedies` are the keys of the practice's catalogue with their names: a list to choose from.
    """
    buffer = io.BytesIO()
    book = open_workbook(buffer)
    formats = {
        "bold": book.add_format({"bold": True}),
        "plain": book.add_format({"italic": True}),
        "text": book.add_format({"num_format": "@"}),
        "date": book.add_format({"num_format": "yyyy-mm-dd"}),
        "wrap": book.add_format({"text_wrap": True, "valign": "top"}),
        "top": book.add_format({"bold": True, "valign": "top"}),
    }
    catalogue = _write_explanations(book, formats, remedies or {})
    _write_case(book, formats)
    for name, columns in COLUMNS.items():
        _write_table(book, name, columns, formats, catalogue)
    book.close()
    return buffer.getvalue()


def _write_explanations(
    book: Workbook, formats: dict[str, Any], remedies: Mapping[str, str]
) -> str | None:
    """What each column takes, and the catalogue; returns where its keys stand."""
    sheet: Worksheet = book.add_worksheet(EXPLANATIONS)
    sheet.set_column(0, 0, 16)
    sheet.set_column(1, 1, 22)
    sheet.set_column(2, 2, 10)
    sheet.set_column(3, 3, 80)
    row = 0
    for line in _INTRODUCTION:
        sheet.set_row(row, 30)
        sheet.merge_range(row, 0, row, 3, gettext(line), formats["wrap"])
        row += 1
    row += 1
    titles = (_("sheet"), _("column or key"), _("required"), _("what it takes"))
    for place, title in enumerate(map(gettext, titles)):
        sheet.write_string(row, place, title, formats["bold"])
    entries = [(CASE, key.name, key.required, key.says) for key in CASE_KEYS]
    for name, columns in COLUMNS.items():
        entries += [(name, column.name, column.required, column.says) for column in columns]
    for name, title, required, says in entries:
        row += 1
        sheet.write_string(row, 0, sheet_name(name), formats["wrap"])
        sheet.write_string(row, 1, title, formats["top" if required else "wrap"])
        sheet.write_string(row, 2, gettext("yes") if required else "", formats["wrap"])
        sheet.write_string(row, 3, says, formats["wrap"])
    if not remedies:
        return None
    return _write_catalogue(sheet, row + 2, remedies, formats)


def _write_catalogue(
    sheet: Worksheet, row: int, remedies: Mapping[str, str], formats: dict[str, Any]
) -> str:
    """The keys with their names; they may be more than a list within a cell can hold."""
    sheet.write_string(row, 0, sheet_name(REMEDIES), formats["bold"])
    sheet.write_string(row, 1, gettext("remedy"), formats["bold"])
    for at, (key, name) in enumerate(remedies.items(), start=row + 1):
        sheet.write_string(at, 1, key, formats["wrap"])
        sheet.write_string(at, 3, name, formats["wrap"])
    return f"={EXPLANATIONS}!$B${row + 2}:$B${row + 1 + len(remedies)}"


def _write_case(book: Workbook, formats: dict[str, Any]) -> None:
    sheet: Worksheet = book.add_worksheet(sheet_name(CASE))
    sheet.set_column(0, 1, 18)
    sheet.set_column(2, 2, 50, formats["text"])
    sheet.freeze_panes(1, 0)
    for place, title in enumerate(SHEET_HEADER):
        sheet.write_string(0, place, title, formats["bold"])
    guidelines: QuerySet[Guideline] = Guideline.objects.all()
    codes = tuple(guidelines.values_list("code", flat=True))
    for row, key in enumerate(CASE_KEYS, start=1):
        sheet.write_string(row, 0, key.section)
        sheet.write_string(row, 1, key.key, formats["bold"] if key.required else None)
        words = codes if key.key == "guideline" else key.words
        sheet.data_validation(row, 2, row, 2, _validation(key, words))


def _write_table(
    book: Workbook,
    name: str,
    columns: Sequence[ColumnSpec],
    formats: dict[str, Any],
    catalogue: str | None,
) -> None:
    sheet: Worksheet = book.add_worksheet(sheet_name(name))
    sheet.freeze_panes(1, 0)
    for place, column in enumerate(columns):
        width = max(len(column.name) + 2, 12)
        sheet.set_column(place, place, width, formats["date"] if column.is_date else None)
        title = formats["bold" if column.required else "plain"]
        sheet.write_string(0, place, column.name, title)
        rule = _validation(column, column.words)
        source = catalogue if (name, column.name) == (REMEDIES, "remedy") else None
        if source := source or _names_from(name, column.name):
            rule |= {"validate": "list", "source": source}
        elif column.is_date:
            rule |= _A_DAY | {"error_message": gettext("A day, such as 2026-03-14.")}
        sheet.data_validation(1, place, _LAST_ROW, place, rule)


_A_DAY = {
    "validate": "date",
    "criteria": ">=",
    "value": "=DATE(1990,1,1)",
}


def _names_from(name: str, column: str) -> str | None:
    """Where the names stand that a column refers to."""
    if column == "visit" and name != VISITS:
        return f"={sheet_name(VISITS)}!$A$2:$A$200"
    if column == "circuit" and name == APPLIANCES:
        return f"={sheet_name(CIRCUITS)}!$A$2:$A$200"
    if column == "instrument" and name == READINGS:
        return f"={sheet_name(INSTRUMENTS)}!$A$2:$A$200"
    return None


def _validation(spec: ColumnSpec | KeySpec, words: Sequence[str]) -> dict[str, Any]:
    """A list to choose from where there is one, and what the cell takes in any case."""
    name = spec.key if isinstance(spec, KeySpec) else spec.name
    rule: dict[str, Any] = {
        "validate": "any",
        "input_title": name[:32],
        "input_message": spec.says[:_LONGEST_MESSAGE],
    }
    if words:
        rule |= {
            "validate": "list",
            "source": list(words),
            "error_message": gettext("One of the list."),
        }
    return rule
