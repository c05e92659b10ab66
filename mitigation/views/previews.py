"""The tables of an upload, cell by cell, with what is wrong beside what is right."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from surveys.intake import Fault, Preview

FIRST_ROWS = 5


@dataclass(frozen=True)
class ShownCell:
    text: str
    fault: Fault | None


@dataclass(frozen=True)
class ShownRow:
    number: int
    cells: Sequence[ShownCell]
    faults: Sequence[Fault]


@dataclass(frozen=True)
class ShownTable:
    """The first rows of a table, and every row with a fault that is listed."""

    label: str
    header: Sequence[str]
    rows: Sequence[ShownRow]
    n_rows: int
    n_wrong: int

    @property
    def n_good(self) -> int:
        return self.n_rows - self.n_wrong


def tables_of(preview: Preview) -> list[ShownTable]:
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
) -> ShownTable:
    header = [str(cell) for cell in rows[0]]
    wrong = [number for number in faults if 1 < number <= len(rows)]
    numbers = sorted({*range(2, min(len(rows), FIRST_ROWS + 1) + 1), *wrong})
    shown = [_row(number, header, rows[number - 1], faults.get(number, [])) for number in numbers]
    return ShownTable(label, header, shown, max(n_rows, 0), len(wrong))


def _row(
    number: int, header: Sequence[str], cells: Sequence[str], faults: Sequence[Fault]
) -> ShownRow:
    by_column = {fault.column: fault for fault in faults if fault.column}
    shown = [
        ShownCell(str(cell)[:80], by_column.get(name.strip().casefold()))
        for name, cell in zip(header, [*cells, *[""] * len(header)], strict=False)
    ]
    return ShownRow(number, shown, faults)
