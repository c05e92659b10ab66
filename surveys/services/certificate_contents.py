"""What a certificate says: its number stands for all of it, by instrument and quantity."""

from datetime import date
from typing import Any

from django.utils.translation import gettext as _

from consult.services.histories import NOTHING, plain_words
from surveys.intake.registers import InstrumentRow
from surveys.models import Calibration

# What decides numbers; a row that says the same of an instrument is the same row.
MEASURING = (
    "quantity", "axes", "unit", "gain_percent", "resolution", "noise", "floor", "ceiling",
    "low_hz", "high_hz", "certificate", "calibrated_on", "due_on",
)  # fmt: skip
# All that a row says. The description is in the practice's own words, and contradicts nothing.
CONTENT = (*MEASURING, "laboratory", "description")


def measuring_of(row: InstrumentRow | Calibration) -> tuple[Any, ...]:
    """What numbers rest on."""
    return tuple(getattr(row, name) for name in MEASURING)


def content_of(row: InstrumentRow | Calibration) -> tuple[Any, ...]:
    """All that a row says of an instrument in one quantity."""
    return tuple(getattr(row, name) for name in CONTENT)


def differing(row: InstrumentRow | Calibration, registered: Calibration) -> list[str]:
    """The fields in which `row` contradicts the `registered` one.

    A laboratory that one of them leaves out contradicts nothing.
    """
    fields = [name for name in MEASURING if getattr(row, name) != getattr(registered, name)]
    laboratories = {row.laboratory, registered.laboratory} - {""}
    return fields + (["laboratory"] if len(laboratories) > 1 else [])


def clash_of(row: Calibration) -> str:
    """How a certificate of the same number contradicts `row`; empty where none does."""
    if not row.certificate:
        return ""
    same_number = Calibration.objects.filter(
        instrument=row.instrument_id, quantity=row.quantity, certificate=row.certificate
    )
    for registered in same_number.exclude(pk=row.pk).order_by("-pk"):
        differences = [
            _("%(field)s %(known)s, and not %(new)s")
            % {
                "field": _label(name),
                "known": _shown(getattr(registered, name)),
                "new": _shown(getattr(row, name)),
            }
            for name in differing(row, registered)
        ]
        if differences:
            return _(
                "Certificate %(number)s is known for this instrument and quantity with other "
                "content: %(differences)s. Other content needs another number."
            ) % {"number": row.certificate, "differences": "; ".join(differences)}
    return ""


def _label(name: str) -> str:
    return str(Calibration._meta.get_field(name).verbose_name)  # type: ignore[union-attr]  # of its own fields


def _shown(value: Any) -> str:
    return NOTHING if value is None or value == "" else plain_words(value)


def content_texts(row: InstrumentRow | Calibration) -> tuple[str, ...]:
    """The same as cells of a case folder."""
    return tuple(map(_text, content_of(row)))


def _text(value: str | float | date | None) -> str:
    """A cell as the folder's format writes it, with all digits."""
    if value is None:
        return ""
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    return str(value)
