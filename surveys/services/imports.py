"""A checked case folder becomes rows of what was measured."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.db import models, transaction

from consult.models import Property, User
from surveys.calc.arrays import FloatArray
from surveys.intake.folder import CheckedFolder
from surveys.intake.readings import Readings
from surveys.intake.registers import GroundCheckRow, InstrumentRow, VisitRow
from surveys.models import (
    Calibration,
    Circuit,
    GroundCheck,
    GroundPoint,
    Instrument,
    Panel,
    Reading,
    Room,
    SourceFile,
    Spot,
    Visit,
)
from surveys.models.displays import CELLS, MARK_WORDS
from surveys.services.bulk import insert_columns

PANEL = "panel"
_CALIBRATION_FIELDS = (
    "quantity", "axes", "unit", "gain_percent", "resolution", "noise", "floor", "ceiling",
    "low_hz", "high_hz", "certificate", "calibrated_on", "due_on",
)  # fmt: skip


@transaction.atomic
def store_survey(
    *, home: Property, folder: CheckedFolder, source: SourceFile, by: User | None, now: datetime
) -> list[Visit]:
    """Enter the instruments, places, sealed visits and readings of a folder for a new property."""
    calibrations = _store_calibrations(folder.instruments, by)
    visits = [
        _store_visit(row, place, home, source, by, now) for place, row in enumerate(folder.visits)
    ]
    spots = _store_spots(home, folder.readings.spots)
    points = _store_ground_points(home, folder)
    _store_circuits(home, folder.readings.circuits)
    _store_ground_checks(folder.ground_checks, visits, points)
    _store_readings(folder.readings, visits, spots, points, calibrations)
    return visits


def save_new(row: models.Model, by: User | None, left_to_database: Sequence[str] = ()) -> None:
    """Check and save a row, with `by` in its history.

    That `left_to_database` is unique is for the constraint to say: a check before it would end the
    import with a word to the user, where a second try puts it right.
    """
    row._history_user = by  # type: ignore[attr-defined]  # read by the history
    row.full_clean(exclude=left_to_database)
    row.save()


def _store_calibrations(rows: Sequence[InstrumentRow], by: User | None) -> list[Calibration]:
    """The calibration of each row: one with the very same content, or a new one."""
    names = dict.fromkeys(row.name for row in rows)
    found = Instrument.objects.select_for_update().order_by("pk").filter(name__in=list(names))
    instruments = {instrument.name: instrument for instrument in found}
    known = {
        (calibration.instrument_id, *_content(calibration)): calibration
        for calibration in Calibration.objects.filter(
            instrument__in=list(instruments.values())
        ).order_by("-pk")
    }
    stored = []
    for row in rows:
        instrument = instruments.get(row.name)
        if instrument is None:
            instrument = Instrument(name=row.name, description=row.description)
            save_new(instrument, by, left_to_database=["name"])
            instruments[row.name] = instrument
        key = (instrument.pk, *_content(row))
        if key not in known:
            known[key] = Calibration(
                instrument=instrument,
                **dict(zip(_CALIBRATION_FIELDS, _content(row), strict=True)),
            )
            save_new(known[key], by)
        stored.append(known[key])
    return stored


def _content(row: InstrumentRow | Calibration) -> tuple[Any, ...]:
    return tuple(getattr(row, name) for name in _CALIBRATION_FIELDS)


def _store_visit(
    row: VisitRow, place: int, home: Property, source: SourceFile, by: User | None, now: datetime
) -> Visit:
    visit = Visit(
        property=home,
        label=row.name,
        kind=row.kind,
        date=row.date,
        position=place,
        assessor=row.assessor,
        temperature_c=row.temperature_c,
        humidity_percent=row.humidity_percent,
        supply_voltage_v=row.supply_voltage_v,
        note=row.note,
        source=source,
        sealed_at=now,
        sealed_by=by,
    )
    save_new(visit, by)
    return visit


def _store_spots(home: Property, spots: Sequence[tuple[str, str, str]]) -> list[int]:
    """The keys of the spots in their order."""
    names = dict.fromkeys(room for room, _, _ in spots)
    rooms = Room.objects.bulk_create(Room(property=home, name=name) for name in names)
    room_of = dict(zip(names, rooms, strict=True))
    stored = Spot.objects.bulk_create(
        Spot(room=room_of[room], name=name, use=use) for room, name, use in spots
    )
    return [spot.pk for spot in stored]


def _store_ground_points(home: Property, folder: CheckedFolder) -> dict[str, int]:
    """The keys of the ground points by name."""
    names = dict.fromkeys(folder.readings.ground_point)
    for check in folder.ground_checks:
        names |= dict.fromkeys((check.point, check.other_point))
    names.pop("", None)
    points = GroundPoint.objects.bulk_create(
        GroundPoint(property=home, name=name) for name in names
    )
    return {point.name: point.pk for point in points}


def _store_circuits(home: Property, names: Sequence[str]) -> None:
    if names:
        panel = Panel.objects.create(property=home, name=PANEL)
        Circuit.objects.bulk_create(Circuit(panel=panel, name=name) for name in names)


def _store_ground_checks(
    rows: Sequence[GroundCheckRow], visits: Sequence[Visit], points: dict[str, int]
) -> None:
    GroundCheck.objects.bulk_create(
        GroundCheck(
            visit=visits[row.visit],
            point_id=points[row.point],
            other_point_id=points.get(row.other_point),
            voltage_v=row.voltage_v,
            outlet_test=row.outlet_test,
            note=row.note,
        )
        for row in rows
    )


def _store_readings(
    readings: Readings,
    visits: Sequence[Visit],
    spots: Sequence[int],
    points: dict[str, int],
    calibrations: Sequence[Calibration],
) -> None:
    """All readings in one go; the place of a reading is its row in the file."""
    visit_keys = [visit.pk for visit in visits]
    pinned = readings.calibration.tolist()
    instruments = [calibration.instrument_id for calibration in calibrations]
    certificates = [calibration.pk for calibration in calibrations]
    columns: dict[str, Sequence[Any]] = {
        "visit": [visit_keys[place] for place in readings.visit.tolist()],
        "position": readings.row_numbers.tolist(),
        "spot": [spots[place] for place in readings.spot.tolist()],
        "measurand": readings.measurand,
        "ground_point": list(map(points.get, readings.ground_point)),
        "instrument": [instruments[place] for place in pinned],
        "calibration": [certificates[place] for place in pinned],
    }
    for place, axis in enumerate(CELLS):
        marks = readings.marks[:, place].tolist()
        columns[axis] = _or_none(readings.values[:, place])
        columns[f"{axis}_mark"] = list(map(MARK_WORDS.__getitem__, marks))
    for name in ("unit", "state", "circuits_off", "taken_at", "set_aside", "load", "note"):
        columns[name] = getattr(readings, name)
    columns["body_distance_m"] = _or_none(readings.body_distance_m)
    columns["surface_distance_m"] = _or_none(readings.surface_distance_m)
    insert_columns(model=Reading, columns=columns)


def _or_none(values: FloatArray) -> list[float | None]:
    return [None if value != value else value for value in values.tolist()]
