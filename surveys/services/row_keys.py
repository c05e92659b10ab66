"""The keys of the rows of a case folder: the same row gets the same key, in a longer file too."""

from collections import Counter
from collections.abc import Iterable, Sequence
from uuid import UUID, uuid5

from surveys.calc.arrays import FloatArray
from surveys.intake.readings import Readings
from surveys.intake.registers import GroundCheckRow, VisitRow
from surveys.models.displays import MARK_WORDS
from surveys.models.names import folded

NAMESPACE = UUID("0f6b0c5e-5d0b-4f0e-9a86-6f1f0a7c2d31")
_BETWEEN = "\x1f"  # no cell holds it


class RowKeys:
    """UUIDv5 of the case's reference, what the row says, and which of equal rows it is.

    A folder without a reference has the digest of its files in its place. A row says:

    - a visit: its name;
    - a room, a spot, a panel, a circuit, an appliance: the folded names; a ground point: its name;
    - a ground check: visit, point, other point, voltage, outlet test, note;
    - a reading: visit, folded room and spot, measurand, ground point, instrument, each axis and the
      total with its mark, unit, state, circuits off, hour, distances, load, note, and its height
      where it has one (files from before know no heights, and keep their keys).

    Numbers are written as Python's shortest repr, so that 4.50 and 4.5 are one; an empty cell is
    an empty text. Why a reading was set aside and the use of a spot are no part of it: both are
    judged, and may be judged anew, without another look at the meter. Of rows that say the same
    the first in the file is number 1.
    """

    def __init__(self, reference: str, sha256: str) -> None:
        self._case = f"reference {reference}" if reference else f"files {sha256}"
        self._times: Counter[str] = Counter()

    def of(self, kind: str, *parts: str) -> UUID:
        """The key of one more row that says `parts`."""
        text = _BETWEEN.join((self._case, kind, *parts))
        self._times[text] += 1
        return uuid5(NAMESPACE, f"{text}{_BETWEEN}{self._times[text]}")

    def of_ground_check(self, row: GroundCheckRow, visits: Sequence[VisitRow]) -> UUID:
        voltage = "" if row.voltage_v is None else repr(row.voltage_v)
        visit = visits[row.visit].name
        parts = (visit, row.point, row.other_point, voltage, row.outlet_test, row.note)
        return self.of("ground check", *parts)

    def of_readings(self, readings: Readings, visits: Sequence[VisitRow],
                    instruments: Sequence[str]) -> list[UUID]:  # fmt: skip
        """The keys of all readings; `instruments` names the one of each place of a calibration."""
        places = [_BETWEEN.join((folded(room), folded(name))) for room, name, _ in readings.spots]
        columns: list[Iterable[str]] = [
            [visits[place].name for place in readings.visit.tolist()],
            [places[place] for place in readings.spot.tolist()],
            readings.measurand,
            readings.ground_point,
            [instruments[place] for place in readings.calibration.tolist()],
        ]
        for axis in range(readings.values.shape[1]):
            columns.append(map(MARK_WORDS.__getitem__, readings.marks[:, axis].tolist()))
            columns.append(_numbers(readings.values[:, axis]))
        columns += [readings.unit, readings.state, readings.circuits_off, readings.taken_at]
        columns += map(_numbers, (readings.body_distance_m, readings.surface_distance_m))
        columns += [readings.load, readings.note]
        heights = _numbers(readings.height_m)
        return [
            self.of("reading", *parts, *filter(None, [height]))
            for height, *parts in zip(heights, *columns, strict=True)
        ]


def _numbers(values: FloatArray) -> list[str]:
    return ["" if value != value else repr(value) for value in values.tolist()]
