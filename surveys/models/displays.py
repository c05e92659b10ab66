"""How the display of a meter is written: axes or a total, each with its sign, and the unit."""

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

from consult.calc.rounding import as_given
from surveys.calc.resultant import MARK_ABOVE, MARK_BELOW, MARK_PLAIN

if TYPE_CHECKING:
    from surveys.models.visits import Reading

AXES = ("x", "y", "z")
CELLS = (*AXES, "total")
MARK_CODES = {"": MARK_PLAIN, "<": MARK_BELOW, ">": MARK_ABOVE}
MARK_WORDS = {code: mark for mark, code in MARK_CODES.items()}

Write = Callable[[float], str]
Row = Mapping[str, Any]


def cell(row: "Reading | Row", name: str, write: Write = as_given) -> str:
    """A number as the display had it, such as `<0.3`; "" where there is none."""
    value, mark = _value_and_mark(row, name)
    return "" if value is None else f"{mark}{write(value)}"


def cell_for_file(value: float | None, mark: str) -> float | str | None:
    """A number as a number, to its last bit; with its sign it is a text."""
    if value is None or not mark:
        return value
    return f"{mark}{int(value) if value.is_integer() and value < 1e15 else repr(value)}"


def cell_of(reading: "Reading", name: str) -> float | str | None:
    """The cell of a reading for a spreadsheet."""
    return cell_for_file(*_value_and_mark(reading, name))


def whole(row: "Reading | Row", unit: str, write: Write = as_given) -> str:
    """The whole display, such as `X 3, Y <0.3 V/m`."""
    return joined({name: cell(row, name, write) for name in CELLS}, unit)


def joined(cells: Mapping[str, str], unit: str) -> str:
    """The whole display from cells that are written already; empty ones are left out."""
    axes = [f"{axis.upper()} {cells[axis]}" for axis in AXES if cells[axis]]
    return f"{', '.join(axes) or cells['total']} {unit}"


def _value_and_mark(row: "Reading | Row", name: str) -> tuple[float | None, str]:
    if isinstance(row, Mapping):
        return row[name], row[f"{name}_mark"]
    return getattr(row, name), getattr(row, f"{name}_mark")
