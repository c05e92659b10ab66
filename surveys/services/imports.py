"""A checked case folder becomes rows of what was measured."""

from collections.abc import Collection, Mapping, Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import models, transaction
from django.utils import timezone

from consult.models import Property, User
from surveys.calc.arrays import FloatArray
from surveys.calc.hours import time_of
from surveys.intake.circuits import CircuitRow
from surveys.intake.folder import CheckedFolder
from surveys.intake.readings import Readings
from surveys.intake.registers import InstrumentRow, VisitRow
from surveys.models import (
    Appliance,
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
from surveys.models.circuits import MAIN_SWITCH
from surveys.models.displays import CELLS, MARK_WORDS
from surveys.models.names import folded
from surveys.services.assessors import assessors_by_name
from surveys.services.brought_certificates import (
    BroughtCertificate,
    KnownInstruments,
    refuse_unconfirmed,
)
from surveys.services.bulk import insert_columns
from surveys.services.certificate_contents import CONTENT, content_of, measuring_of
from surveys.services.circuits import USUAL_PANEL
from surveys.services.row_keys import RowKeys
from surveys.services.sources import Sources, add_links, main_switch_is_off


@transaction.atomic
def store_survey(
    *,
    home: Property,
    folder: CheckedFolder,
    source: SourceFile,
    by: User | None,
    now: datetime,
    confirmed: Collection[BroughtCertificate] | None = None,
) -> list[Visit]:
    """Enter the instruments, places, sealed visits and readings of a folder for a new property.

    `confirmed` are the certificates that known instruments may get; None: those that `by` may add.
    """
    keys = _keys_of(folder)
    calibrations = _store_calibrations(folder.instruments, by, confirmed)
    people = assessors_by_name()
    visits = [
        _store_visit(row, place, home, source, by, now, keys.of("visit", row.name), people)
        for place, row in enumerate(folder.visits)
    ]
    spots = _store_spots(home, folder.readings.spots, keys)
    points = _store_ground_points(home, folder, keys)
    sources = _store_sources(home, folder, keys)
    _store_ground_checks(folder, visits, points, keys)
    _store_readings(folder, visits, spots, points, calibrations, keys, now)
    _link_sources(folder.readings, visits, sources)
    return visits


def _keys_of(folder: CheckedFolder) -> RowKeys:
    """The keys of the case's reference; of the files, where another case has rows with those.

    That is a case that had this reference once: its rows keep their keys.
    """
    reference, sha256 = folder.case.reference, folder.files.sha256
    keys = RowKeys(reference, sha256)
    visits = [keys.of("visit", row.name) for row in folder.visits]
    circuits = [keys.of("circuit", folded(row.name)) for row in folder.circuits]
    taken = (
        Visit.objects.filter(uid__in=visits).exists()
        or Circuit.objects.filter(uid__in=circuits).exists()
    )
    return RowKeys("" if taken else reference, sha256)


def save_new(row: models.Model, by: User | None, left_to_database: Sequence[str] = ()) -> None:
    """Check and save a row, with `by` in its history.

    That `left_to_database` is unique is for the constraint to say: a check before it would end the
    import with a word to the user, where a second try puts it right.
    """
    row._history_user = by  # type: ignore[attr-defined]  # read by the history
    row.full_clean(exclude=left_to_database)
    row.save()


def _store_calibrations(
    rows: Sequence[InstrumentRow],
    by: User | None,
    confirmed: Collection[BroughtCertificate] | None,
) -> list[Calibration]:
    """The calibration of each row: one with the very same content, or a new one."""
    known = KnownInstruments(rows, are_held=True)
    refuse_unconfirmed(rows, known, by, confirmed)
    instruments, calibrations = known.instruments, known.calibrations
    stored = []
    for row in rows:
        instrument = instruments.get(row.name)
        if instrument is None:
            instrument = Instrument(name=row.name, **_plate(rows, row.name))
            save_new(instrument, by, left_to_database=["name"])
            instruments[row.name] = instrument
        key = (instrument.pk, *measuring_of(row))
        if key not in calibrations:
            calibrations[key] = Calibration(
                instrument=instrument,
                **dict(zip(CONTENT, content_of(row), strict=True)),
            )
            save_new(calibrations[key], by)
        stored.append(calibrations[key])
    return stored


def _plate(rows: Sequence[InstrumentRow], name: str) -> dict[str, str]:
    """Maker and serial number of an instrument, which any of its rows may say."""
    own = [row for row in rows if row.name == name]
    return {
        field: next(filter(None, (getattr(row, field) for row in own)), "")
        for field in ("maker", "serial")
    }


def _store_visit(
    row: VisitRow,
    place: int,
    home: Property,
    source: SourceFile,
    by: User | None,
    now: datetime,
    uid: UUID,
    people: Mapping[str, User],
) -> Visit:
    """The name is that of one of `people`, or of somebody outside; it opens nothing to anybody."""
    visit = Visit(
        property=home,
        label=row.name,
        kind=row.kind,
        date=row.date,
        position=place,
        assessor=row.assessor,
        measured_by=people.get(folded(row.assessor)),
        temperature_c=row.temperature_c,
        humidity_percent=row.humidity_percent,
        supply_voltage_v=row.supply_voltage_v,
        note=row.note,
        source=source,
        sealed_at=now,
        sealed_by=by,
        uid=uid,
    )
    save_new(visit, by)
    return visit


def _store_spots(home: Property, spots: Sequence[tuple[str, str, str]], keys: RowKeys) -> list[int]:
    """The keys of the spots in their order."""
    names = dict.fromkeys(room for room, _, _ in spots)
    rooms = Room.objects.bulk_create(
        Room(property=home, name=name, uid=keys.of("room", folded(name))) for name in names
    )
    room_of = dict(zip(names, rooms, strict=True))
    stored = Spot.objects.bulk_create(
        Spot(
            room=room_of[room],
            name=name,
            use=use,
            uid=keys.of("spot", folded(room), folded(name)),
        )
        for room, name, use in spots
    )
    return [spot.pk for spot in stored]


def _store_ground_points(home: Property, folder: CheckedFolder, keys: RowKeys) -> dict[str, int]:
    """The keys of the ground points by name."""
    names = dict.fromkeys(folder.readings.ground_point)
    for check in folder.ground_checks:
        names |= dict.fromkeys((check.point, check.other_point))
    names.pop("", None)
    points = GroundPoint.objects.bulk_create(
        GroundPoint(property=home, name=name, uid=keys.of("ground point", name)) for name in names
    )
    return {point.name: point.pk for point in points}


def _store_sources(home: Property, folder: CheckedFolder, keys: RowKeys) -> Sources:
    """Panels, circuits and appliances; what only readings name becomes a circuit of its own."""
    rows = list(folder.circuits)
    declared = {folded(row.name) for row in rows}
    declared |= {folded(row.name) for row in folder.appliances}
    for name in folder.readings.circuits:
        if name != MAIN_SWITCH and folded(name) not in declared:
            rows.append(CircuitRow(name, "", "", "", None, "", None, ""))
            declared.add(folded(name))
    circuits = _store_circuits(home, rows, keys)
    rooms = {room.folded: room for room in Room.objects.filter(property=home)}
    appliances = [
        Appliance(
            property=home,
            name=row.name,
            circuit_id=circuits.get(folded(row.circuit)),
            room=rooms.get(folded(row.room)),
            note=row.note,
            uid=keys.of("appliance", folded(row.name)),
        )
        for row in folder.appliances
    ]
    stored = Appliance.objects.bulk_create(appliances)
    return Sources(circuits, {row.folded: row.pk for row in stored})


def _store_circuits(home: Property, rows: Sequence[CircuitRow], keys: RowKeys) -> dict[str, int]:
    """The keys of the circuits by their folded names; panels of a name are one."""
    names: dict[str, str] = {}
    for row in rows:
        name = row.panel or USUAL_PANEL
        names.setdefault(folded(name), name)
    panels = Panel.objects.bulk_create(
        Panel(property=home, name=name, uid=keys.of("panel", key)) for key, name in names.items()
    )
    panel_of = dict(zip(names, panels, strict=True))
    stored = Circuit.objects.bulk_create(
        Circuit(
            panel=panel_of[folded(row.panel or USUAL_PANEL)],
            name=row.name,
            label=row.label,
            phase=row.phase,
            rating_a=row.rating_a,
            rcd=row.rcd,
            poles=row.poles,
            note=row.note,
            uid=keys.of("circuit", folded(row.name)),
        )
        for row in rows
    )
    return {row.folded: row.pk for row in stored}


def _link_sources(readings: Readings, visits: Sequence[Visit], sources: Sources) -> None:
    """Link the readings that name what was off; one look for their numbers, and none without."""
    named = {
        (visits[place].pk, number): text
        for place, number, text in zip(
            readings.visit.tolist(),
            readings.row_numbers.tolist(),
            readings.circuits_off,
            strict=True,
        )
        if text and not main_switch_is_off(text)
    }
    if not named:
        return
    rows = Reading.objects.filter(visit__in=visits).exclude(circuits_off="").order_by("pk")
    texts = (
        (pk, named[visit, number])
        for pk, visit, number in rows.values_list("pk", "visit", "position")
        if (visit, number) in named
    )
    add_links(texts=texts, sources=sources)


def _store_ground_checks(
    folder: CheckedFolder, visits: Sequence[Visit], points: dict[str, int], keys: RowKeys
) -> None:
    GroundCheck.objects.bulk_create(
        GroundCheck(
            visit=visits[row.visit],
            point_id=points[row.point],
            other_point_id=points.get(row.other_point),
            voltage_v=row.voltage_v,
            outlet_test=row.outlet_test,
            note=row.note,
            uid=keys.of_ground_check(row, folder.visits),
        )
        for row in folder.ground_checks
    )


def _store_readings(
    folder: CheckedFolder,
    visits: Sequence[Visit],
    spots: Sequence[int],
    points: dict[str, int],
    calibrations: Sequence[Calibration],
    keys: RowKeys,
    now: datetime,
) -> None:
    """All readings in one go; the place of a reading is its row in the file."""
    readings = folder.readings
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
    for name in ("unit", "state", "circuits_off", "set_aside", "load", "note"):
        columns[name] = getattr(readings, name)
    columns["taken_at_text"] = readings.taken_at
    columns["taken_at"] = _times(readings, folder.visits)
    columns["main_switch_off"] = [main_switch_is_off(text) for text in readings.circuits_off]
    columns["recorded_at"] = [now] * len(readings)
    names = [row.name for row in folder.instruments]
    columns["uid"] = keys.of_readings(readings, folder.visits, names)
    columns["body_distance_m"] = _or_none(readings.body_distance_m)
    columns["surface_distance_m"] = _or_none(readings.surface_distance_m)
    insert_columns(model=Reading, columns=columns)


def _times(readings: Readings, visits: Sequence[VisitRow]) -> list[datetime | None]:
    """When the meter was read; each hour of a visit is read once."""
    zone = timezone.get_default_timezone()
    pairs = list(zip(readings.visit.tolist(), readings.taken_at, strict=True))
    times = {
        (place, text): time_of(text, visits[place].date, zone) if text else None
        for place, text in dict.fromkeys(pairs)
    }
    return [times[pair] for pair in pairs]


def _or_none(values: FloatArray) -> list[float | None]:
    return [None if value != value else value for value in values.tolist()]
