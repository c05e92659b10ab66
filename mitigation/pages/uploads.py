"""What is shown of an upload: its preview, and the certificates that it brings to the register."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from mitigation.models import PendingUpload
from mitigation.services.uploads import KEPT_FOR_OFFICE
from surveys.calc.certificates import in_force
from surveys.models import Calibration, Instrument, Visit
from surveys.models.measurands import quantity_words
from surveys.services.certificate_contents import CONTENT

_WORDS = ("unit", "certificate", "laboratory", "description")
_DAYS = ("calibrated_on", "due_on")


@dataclass(frozen=True)
class Line:
    """One thing that a certificate says: in the register, and in the folder."""

    label: str
    registered: Any
    brought: Any
    is_day: bool
    is_number: bool
    differs: bool  # False where the register has nothing to differ from


@dataclass(frozen=True)
class SideBySide:
    """A certificate that a folder brings beside the one that the register has in its place."""

    file: str
    row_number: int
    instrument: str
    instrument_pk: int | None
    quantity: str
    registered: Calibration | None
    lines: Sequence[Line]


def upload_parts(pending: PendingUpload) -> dict[str, Any]:
    """What owner and office see alike of an upload; two queries where it has certificates."""
    return {
        "pending": pending,
        "state": pending.state,
        "preview": _with_days(pending.preview),
        "certificates": _side_by_side(pending.certificates),
        "office_days": KEPT_FOR_OFFICE.days,
    }


def _with_days(preview: dict[str, Any]) -> dict[str, Any]:
    """A kept preview, its visits with days as days and kinds in words, its cells with columns."""
    visits = [
        row | {"day": date.fromisoformat(row["date"]), "kind": Visit.Kind(row["kind"]).label}
        for row in preview.get("visits", [])
    ]
    return preview | {
        "visits": visits,
        "tables": [_placed(row) for row in preview.get("tables", [])],
    }


def _placed(table: dict[str, Any]) -> dict[str, Any]:
    """A table whose rows name their wrong columns, and whose cells the column that they are of."""
    header = table["header"]
    rows = []
    for row in table["rows"]:
        named = [cell | {"column": name} for name, cell in zip(header, row["cells"], strict=False)]
        wrong = [cell["column"] for cell in named if "allowed" in cell]
        rows.append(row | {"cells": named, "wrong": wrong})
    return table | {"rows": rows}


def _side_by_side(certificates: Sequence[dict[str, Any]]) -> list[SideBySide]:
    names = {row["instrument"] for row in certificates}
    if not names:
        return []
    instruments = {
        instrument.name: instrument
        for instrument in Instrument.objects.filter(name__in=names).prefetch_related("calibrations")
    }
    return [_compared(row, instruments.get(row["instrument"])) for row in certificates]


def _compared(row: dict[str, Any], instrument: Instrument | None) -> SideBySide:
    brought = {name: _value(name, row["content"].get(name, "")) for name in CONTENT}
    quantity = brought.pop("quantity")
    rows = [] if instrument is None else instrument.calibrations.all()
    same_quantity = [calibration for calibration in rows if calibration.quantity == quantity]
    registered = _counterpart(same_quantity, brought["calibrated_on"])
    return SideBySide(
        file=row["file"],
        row_number=row["row"],
        instrument=row["instrument"],
        instrument_pk=None if instrument is None else instrument.pk,
        quantity=quantity_words(quantity),
        registered=registered,
        lines=[
            Line(
                label=_label(name),
                registered=getattr(registered, name, None),
                brought=brought[name],
                is_day=name in _DAYS,
                is_number=name not in (*_DAYS, *_WORDS),
                differs=registered is not None and getattr(registered, name) != brought[name],
            )
            for name in CONTENT
            if name != "quantity"
        ],
    )


def _counterpart(rows: Sequence[Calibration], day: date | None) -> Calibration | None:
    """The row of the same day of calibration, or the one in force on it."""
    by_key = {row.pk: row for row in rows}
    same_day = [pk for pk, row in by_key.items() if row.calibrated_on == day]
    began = {pk: row.calibrated_on for pk, row in by_key.items()}
    key = max(same_day) if same_day else in_force(day or date.max, began)
    return None if key is None else by_key[key]


def _label(name: str) -> str:
    field: Any = Calibration._meta.get_field(name)
    return str(field.verbose_name)


def _value(name: str, text: str) -> Any:
    if name in (*_WORDS, "quantity"):
        return text
    if not text:
        return None
    return date.fromisoformat(text) if name in _DAYS else float(text)
