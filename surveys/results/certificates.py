"""The certificates of instruments: in force on a day, and falling due."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from surveys.calc.certificates import in_force
from surveys.models import Calibration

SOON = timedelta(days=60)


class Register:
    """Calibration rows by instrument and quantity."""

    def __init__(self, rows: Iterable[Calibration]) -> None:
        self._rows: dict[tuple[int, str], dict[int, Calibration]] = {}
        for row in rows:
            self._rows.setdefault((row.instrument_id, row.quantity), {})[row.pk] = row

    def on(self, day: date, *, instrument: int, quantity: str) -> Calibration | None:
        """The row in force on `day`; if all begin later, the first, which describes the meter."""
        rows = self._rows.get((instrument, quantity), {})
        key = in_force(day, {pk: row.calibrated_on for pk, row in rows.items()})
        return None if key is None else rows[key]

    def standings(self, today: date) -> list["Standing"]:
        """Each instrument and quantity: what is late first, what has no end last."""
        rows = (self.on(today, instrument=pk, quantity=quantity) for pk, quantity in self._rows)
        standings = [Standing.of(row, today) for row in rows if row is not None]
        return sorted(standings, key=Standing.urgency)


@dataclass(frozen=True)
class Standing:
    """The certificate of an instrument for a quantity as of today, and how long it still holds."""

    calibration: Calibration
    days_left: int | None  # None = no certificate, or one without an end
    covers_today: bool

    @classmethod
    def of(cls, calibration: Calibration, today: date) -> "Standing":
        ends = calibration.due_on if calibration.is_certified else None
        days_left = (ends - today).days if ends else None
        return cls(calibration, days_left, calibration.covers(today))

    @property
    def is_late(self) -> bool:
        return self.days_left is not None and self.days_left < 0

    @property
    def is_soon(self) -> bool:
        return self.days_left is not None and 0 <= self.days_left <= SOON.days

    def urgency(self) -> tuple[bool, int, str, int]:
        """A key to sort by: late first, without an end last, then by name."""
        row = self.calibration
        return self.days_left is None, self.days_left or 0, row.instrument.name, row.pk


def falling_due(today: date) -> list[Standing]:
    """Each quantity of each instrument in use, what is late first, what has no end last."""
    rows = Calibration.objects.filter(instrument__is_retired=False).select_related("instrument")
    return Register(rows).standings(today)
