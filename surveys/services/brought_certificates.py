"""Certificates that a case folder brings for instruments that the practice knows already.

An instrument is shared by all cases, so a certificate that somebody's folder brings counts for the
cases of everybody. Who may not change the registers brings none to a known instrument before the
office has confirmed it; a new instrument comes with its certificates, because nobody shares it yet.
The number of a certificate stands for its content: the same number with another one is refused.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Self

from django.utils.translation import gettext as _

from consult.models import User
from surveys.intake import CaseFolderRefused, Fault
from surveys.intake.faults import MOST_SHOWN
from surveys.intake.registers import InstrumentRow
from surveys.models import Calibration, Instrument
from surveys.services.certificate_contents import (
    CONTENT,
    content_texts,
    differing,
    measuring_of,
)
from surveys.services.registers import may_change_registers


@dataclass(frozen=True)
class BroughtCertificate:
    """A row of instruments.csv that a known instrument does not have with this content."""

    file: str = field(compare=False)
    row_number: int = field(compare=False)
    instrument: str
    content: tuple[str, ...]  # as texts, so that what was kept compares equal

    def as_data(self) -> dict[str, Any]:
        """Plain data, to be kept and shown."""
        content = dict(zip(CONTENT, self.content, strict=True))
        return {
            "file": self.file,
            "row": self.row_number,
            "instrument": self.instrument,
            "content": content,
        }

    @classmethod
    def from_data(cls, data: Mapping[str, Any]) -> Self:
        # What an earlier version kept leaves out the newest columns.
        content = tuple(data["content"].get(name, "") for name in CONTENT)
        return cls(data["file"], data["row"], data["instrument"], content)


class UnconfirmedCertificates(CaseFolderRefused):
    """Of the certificates that a folder brings (`brought`) some were confirmed by nobody."""

    def __init__(
        self, unconfirmed: Sequence[BroughtCertificate], brought: Sequence[BroughtCertificate]
    ) -> None:
        self.brought = tuple(brought)
        faults = [_unconfirmed(certificate) for certificate in unconfirmed[:MOST_SHOWN]]
        super().__init__(faults, len(unconfirmed))


class KnownInstruments:
    """The instruments that a folder names and the practice has, with all their certificates."""

    def __init__(self, rows: Sequence[InstrumentRow], *, are_held: bool = False) -> None:
        """Two queries; held are their rows until the transaction ends."""
        names = dict.fromkeys(row.name for row in rows)
        instruments = Instrument.objects.order_by("pk").filter(name__in=list(names))
        if are_held:
            instruments = instruments.select_for_update()
        self.instruments = {instrument.name: instrument for instrument in instruments}
        self.calibrations: dict[tuple[Any, ...], Calibration] = {}
        self._by_number: dict[tuple[Any, ...], Calibration] = {}
        calibrations = Calibration.objects.filter(instrument__in=list(self.instruments.values()))
        for calibration in calibrations.order_by("-pk"):
            pk = calibration.instrument_id
            self.calibrations[pk, *measuring_of(calibration)] = calibration
            number = (pk, calibration.quantity, calibration.certificate)
            self._by_number.setdefault(number, calibration)

    def brought(self, rows: Sequence[InstrumentRow]) -> list[BroughtCertificate]:
        """The rows that a known instrument does not have with the very same content."""
        return [
            BroughtCertificate(row.file, row.row_number, row.name, content_texts(row))
            for row in rows
            if self._is_new_to_a_known_one(row)
        ]

    def contradictions(self, rows: Sequence[InstrumentRow]) -> list[Fault]:
        """A fault at each cell that is another than the register has for the same number."""
        faults = []
        for row in rows:
            instrument = self.instruments.get(row.name)
            if instrument is None:
                continue
            if row.serial and instrument.serial and row.serial != instrument.serial:
                faults.append(_other_serial(row, instrument))
            number = (instrument.pk, row.quantity, row.certificate)
            calibration = self.calibrations.get((instrument.pk, *measuring_of(row)))
            calibration = calibration or self._by_number.get(number)
            if row.certificate and calibration is not None:
                faults += _differences(row, calibration)
        return faults

    def _is_new_to_a_known_one(self, row: InstrumentRow) -> bool:
        instrument = self.instruments.get(row.name)
        return instrument is not None and (
            (instrument.pk, *measuring_of(row)) not in self.calibrations
        )


def refuse_unconfirmed(
    rows: Sequence[InstrumentRow],
    known_instruments: KnownInstruments,
    by: User | None,
    confirmed: Collection[BroughtCertificate] | None,
) -> None:
    """Refuse what the register contradicts, and certificates beyond those that were confirmed.

    Where nothing was shown to be confirmed (None), whoever may change the registers confirms by
    importing; nobody (`by` is None) is the command line, which counts as the office.
    """
    faults = known_instruments.contradictions(rows)
    if faults:
        raise CaseFolderRefused(faults[:MOST_SHOWN], len(faults))
    if confirmed is None and (by is None or may_change_registers(by)):
        return
    brought = known_instruments.brought(rows)
    unconfirmed = [certificate for certificate in brought if certificate not in (confirmed or ())]
    if unconfirmed:
        raise UnconfirmedCertificates(unconfirmed, brought)


def _differences(row: InstrumentRow, calibration: Calibration) -> list[Fault]:
    cells = dict(zip(CONTENT, content_texts(row), strict=True))
    texts = dict(zip(CONTENT, content_texts(calibration), strict=True))
    content = ", ".join(
        f"{name} {text}" for name, text in texts.items() if text and name != "description"
    )
    faults = []
    for name in differing(row, calibration):
        words = {
            "value": texts[name] or _("nothing"),
            "number": row.certificate,
            "instrument": row.name,
            "content": content,
        }
        allowed = _(
            "%(value)s, as the register has it: certificate %(number)s of %(instrument)s is"
            " known with %(content)s; other content needs another number"
        )
        faults.append(Fault(row.file, row.row_number, name, cells[name], allowed % words))
    return faults


def _other_serial(row: InstrumentRow, instrument: Instrument) -> Fault:
    allowed = _(
        "%(serial)s, as the register has it for %(instrument)s; another instrument needs another"
        " name"
    ) % {"serial": instrument.serial, "instrument": instrument.name}
    return Fault(row.file, row.row_number, "serial", row.serial, allowed)


def _unconfirmed(certificate: BroughtCertificate) -> Fault:
    number = certificate.content[CONTENT.index("certificate")]
    allowed = _(
        "what the register has of %(instrument)s; the office has not confirmed this certificate"
    ) % {"instrument": certificate.instrument}
    return Fault(certificate.file, certificate.row_number, "certificate", number, allowed)
