"""What of an upload is shown before it is imported: plain data, cell by cell, of bounded size.

It is kept with the upload, so that no page has to read and check a long file again.
"""

from collections import defaultdict
from collections.abc import Sequence
from typing import Any

from surveys.intake import Fault, Preview
from surveys.intake.sources import READINGS, REMEDIES

FIRST_ROWS = 5
LONGEST_CELL = 80
MOST_COLUMNS = 40


def shown(preview: Preview) -> dict[str, Any]:
    """The head of the case, the first rows of each table, and every row with a listed fault."""
    folder = preview.folder
    words = {
        "case": None if folder is None else _head(folder.case),
        "visits": [] if folder is None else [_visit(row) for row in folder.visits],
        "n_readings": preview.counts.get(READINGS, 0),
        "n_items": preview.counts.get(REMEDIES, 0),
        "faults": [str(fault) for fault in preview.faults],
        "n_faults": preview.n_faults,
        "more": preview.n_faults - len(preview.faults),
        "tables": _tables(preview),
    }
    return {name: _without_zero_bytes(value) for name, value in words.items()}


def refused(faults: Sequence[Fault], n_faults: int) -> dict[str, Any]:
    """What is wrong by now with an upload that was right when it was checked."""
    return {
        "faults": [_without_zero_bytes(str(fault)) for fault in faults],
        "n_faults": n_faults,
        "more": n_faults - len(faults),
    }


def _without_zero_bytes(value: Any) -> Any:
    """The same with a sign where a zero byte stood; PostgreSQL keeps none."""
    if isinstance(value, str):
        return value.replace("\0", "␀")
    if isinstance(value, list):
        return [_without_zero_bytes(part) for part in value]
    if isinstance(value, dict):
        return {name: _without_zero_bytes(part) for name, part in value.items()}
    return value


def _head(case: Any) -> dict[str, Any]:
    names = ("reference", "client_name", "address", "supply_voltage_v", "frequency_hz",
             "guideline", "target_band")  # fmt: skip
    return {name: getattr(case, name) for name in names}


def _visit(row: Any) -> dict[str, str]:
    return {"kind": row.kind, "date": row.date.isoformat(), "assessor": row.assessor}


def _tables(preview: Preview) -> list[dict[str, Any]]:
    """A table for each file, in the order of the folder."""
    faults: dict[str, dict[int, list[Fault]]] = defaultdict(lambda: defaultdict(list))
    for fault in preview.faults:
        if fault.row is not None:
            faults[fault.file][fault.row].append(fault)
    return [
        _table(raw.label, raw.rows, faults[raw.label], preview.counts.get(name, len(raw.rows) - 1))
        for name, raw in preview.tables.items()
        if raw.rows
    ]


def _table(
    label: str, rows: Sequence[Sequence[str]], faults: dict[int, list[Fault]], n_rows: int
) -> dict[str, Any]:
    header = [str(cell)[:LONGEST_CELL] for cell in rows[0][:MOST_COLUMNS]]
    wrong = [number for number in faults if 1 < number <= len(rows)]
    numbers = sorted({*range(2, min(len(rows), FIRST_ROWS + 1) + 1), *wrong})
    return {
        "label": label,
        "header": header,
        "rows": [
            {"number": number, "cells": _cells(header, rows[number - 1], faults.get(number, []))}
            for number in numbers
        ],
        "n_rows": max(n_rows, 0),
        "n_wrong": len(wrong),
        "n_good": max(n_rows, 0) - len(wrong),
    }


def _cells(
    header: Sequence[str], cells: Sequence[str], faults: Sequence[Fault]
) -> list[dict[str, str]]:
    """The texts of a row; a wrong one with what would be allowed."""
    by_column = {fault.column: fault for fault in faults if fault.column}
    shown = []
    for name, cell in zip(header, [*cells, *[""] * len(header)], strict=False):
        fault = by_column.get(name.strip().casefold())
        words = {"text": str(cell)[:LONGEST_CELL]}
        shown.append(words if fault is None else words | {"allowed": fault.allowed})
    return shown
