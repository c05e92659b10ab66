"""A checked case folder becomes rows of what was measured."""

from collections.abc import Collection, Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import models, transaction
from django.utils import timezone

from consult.models import Property, User
from surveys.calc.arrays import FloatArray
from surveys.calc.hours import time_of
from surveys.intake.circuits import ApplianceRow, CircuitRow
from surveys.intake.folder import CheckedFolder
from surveys.intake.readings import DISTANCES, Readings
from surveys.intake.registers import InstrumentRow, VisitRow
from surveys.models import (
    Appliance,
    Calibration,
    Circuit,
    GroundCheck,
    Instrument,
    Panel,
    Reading,
    Room,
    SourceFile,
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
from surveys.services.brought_places import BroughtPlaces
from surveys.services.bulk import insert_columns
from surveys.services.certificate_contents import CONTENT, content_of, measuring_of
from surveys.services.circuits import USUAL_PANEL
from surveys.services.row_keys import RowKeys
from surveys.services.sources import Sources, add_links, main_switch_is_off, sources_at


@transaction.atomic
def store_survey(
    *,
    home: Property,
    folder: CheckedFolder,
    source: SourceFile,
    by: User | None,
    now: datetime,
    confirmed: Collection[BroughtCertificate] | None = None,
    keys: RowKeys | None = None,
    known_visits: Collection[str] = (),
) -> list[Visit]:
    """Enter the instruments, places, sealed visits and readings of a folder; return the visits.

    `confirmed` are the certificates that known instruments may get; None: those that `by` may add.
    `known_visits` names visits that are there already and stay as they are, with the rows of
    theirs; the `keys` are those under which they came in.
    """
    keys = keys or _keys_of(folder)
    calibrations = _store_calibrations(folder.instruments, by, confirmed)
    first = home.visits.count()
    people = assessors_by_name()
    visits = {
        place: _store_visit(
            row, first + place, home, source, by, now, keys.of("visit", row.name), people
        )
        for place, row in enumerate(folder.visits)
        if row.name not in known_visits
    }
    names = [row.name for row in folder.instruments]
    uids = dict(
        zip(
            folder.readings.row_numbers.tolist(),
            keys.of_readings(folder.readings, folder.visits, names),
            strict=True,
        )
    )
    readings = folder.readings.at(visits) if known_visits else folder.readings
    places = BroughtPlaces(home, keys)
    spots = places.spots(readings.spots, set(readings.spot.tolist()))
    points = places.ground_points(_points_of(folder, readings, visits))
    sources = _store_sources(home, folder, readings, keys)
    _store_ground_checks(folder, visits, points, keys)
    _store_readings(folder, readings, visits, spots, points, calibrations, uids, now)
    _link_sources(readings, visits, sources)
    return list(visits.values())


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
    known_instruments = KnownInstruments(rows, are_held=True)
    refuse_unconfirmed(rows, known_instruments, by, confirmed)
    instruments, calibrations = known_instruments.instruments, known_instruments.calibrations
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
        deviations=row.deviations,
        sampling=row.sampling,
        note=row.note,
        source=source,
        sealed_at=now,
        sealed_by=by,
        uid=uid,
    )
    save_new(visit, by)
    return visit


def _points_of(
    folder: CheckedFolder, readings: Readings, visits: Mapping[int, Visit]
) -> Iterator[str]:
    """The ground points that the rows name which are stored."""
    yield from filter(None, readings.ground_point)
    for check in folder.ground_checks:
        if check.visit in visits:
            yield from filter(None, (check.point, check.other_point))


def _store_sources(
    home: Property, folder: CheckedFolder, readings: Readings, keys: RowKeys
) -> Sources:
    """Panels, circuits and appliances; what only readings name becomes a circuit of its own.

    Those that the home has stay as they are.
    """
    at_home = sources_at(home.pk)
    rows = [row for row in folder.circuits if folded(row.name) not in at_home.circuits]
    appliance_rows = [
        row for row in folder.appliances if folded(row.name) not in at_home.appliances
    ]
    declared = {*at_home.circuits, *at_home.appliances}
    declared |= {folded(row.name) for row in folder.circuits}
    declared |= {folded(row.name) for row in folder.appliances}
    for name in (name for row in folder.remedies for name in row.appliances):
        if folded(name) not in declared:
            appliance_rows.append(ApplianceRow(name, "", "", ""))
            declared.add(folded(name))
    listed = (name for row in folder.remedies for name in row.circuits)
    for name in (*readings.circuits, *listed):
        if name != MAIN_SWITCH and folded(name) not in declared:
            rows.append(CircuitRow(name, "", "", "", None, "", None, ""))
            declared.add(folded(name))
    circuits = dict(at_home.circuits) | _store_circuits(home, rows, keys)
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
        for row in appliance_rows
    ]
    stored = Appliance.objects.bulk_create(appliances)
    return Sources(circuits, dict(at_home.appliances) | {row.folded: row.pk for row in stored})


def _store_circuits(home: Property, rows: Sequence[CircuitRow], keys: RowKeys) -> dict[str, int]:
    """The keys of the circuits by their folded names; panels of a name are one."""
    names: dict[str, str] = {}
    for row in rows:
        name = row.panel or USUAL_PANEL
        names.setdefault(folded(name), name)
    panel_of = {panel.folded: panel for panel in Panel.objects.filter(property=home)}
    made = Panel.objects.bulk_create(
        Panel(property=home, name=name, uid=keys.of("panel", key))
        for key, name in names.items()
        if key not in panel_of
    )
    panel_of |= {panel.folded: panel for panel in made}
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


def _link_sources(readings: Readings, visits: Mapping[int, Visit], sources: Sources) -> None:
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
    rows = Reading.objects.filter(visit__in=visits.values()).exclude(circuits_off="").order_by("pk")
    texts = (
        (pk, named[visit, number])
        for pk, visit, number in rows.values_list("pk", "visit", "position")
        if (visit, number) in named
    )
    add_links(texts=texts, sources=sources)


def _store_ground_checks(
    folder: CheckedFolder, visits: Mapping[int, Visit], points: dict[str, int], keys: RowKeys
) -> None:
    uids = [keys.of_ground_check(row, folder.visits) for row in folder.ground_checks]
    GroundCheck.objects.bulk_create(
        GroundCheck(
            visit=visits[row.visit],
            point_id=points[row.point],
            other_point_id=points.get(row.other_point),
            voltage_v=row.voltage_v,
            outlet_test=row.outlet_test,
            note=row.note,
            uid=uid,
        )
        for row, uid in zip(folder.ground_checks, uids, strict=True)
        if row.visit in visits
    )


def _store_readings(
    folder: CheckedFolder,
    readings: Readings,
    visits: Mapping[int, Visit],
    spots: Mapping[int, int],
    points: dict[str, int],
    calibrations: Sequence[Calibration],
    uids: Mapping[int, UUID],
    now: datetime,
) -> None:
    """All readings in one go; the place of a reading is its row in the file."""
    visit_keys = {place: visit.pk for place, visit in visits.items()}
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
    columns["uid"] = [uids[number] for number in readings.row_numbers.tolist()]
    columns |= {name: _or_none(getattr(readings, name)) for name in DISTANCES}
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
