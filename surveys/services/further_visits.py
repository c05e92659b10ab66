"""A folder that brings further visits: what is there stays, what contradicts it is refused.

A visit of the case is known by its name. A sealed visit stays as it is, so a folder may repeat its
rows, all or some, and may not bring it others; a correction is for the page of the reading.
"""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from django.utils.translation import gettext as _

from surveys.intake import Fault
from surveys.intake.folder import CheckedFolder
from surveys.intake.registers import VisitRow
from surveys.intake.sources import GROUND_CHECKS, READINGS, VISITS
from surveys.models import GroundCheck, Reading, Visit
from surveys.services.row_keys import RowKeys

# What a visit says of itself: the column of visits.csv and the field.
SAYS = {
    "kind": "kind",
    "date": "date",
    "assessor": "assessor",
    "temperature_c": "temperature_c",
    "humidity_percent": "humidity_percent",
    "supply_voltage": "supply_voltage_v",
    "deviations": "deviations",
    "sampling": "sampling",
    "note": "note",
}


def row_keys_of(
    known_visits: Mapping[str, Visit], references: Iterable[str], sha256s: Iterable[str]
) -> RowKeys:
    """The keys under which the rows of a case came in: of a reference of it, or of its files."""
    origins = [*((reference, "") for reference in references), *(("", sha) for sha in sha256s)]
    for origin in origins:
        keys = RowKeys(*origin)
        if any(keys.of("visit", name) == visit.uid for name, visit in known_visits.items()):
            return RowKeys(*origin)
    return RowKeys(*origins[0])


def contradictions(
    folder: CheckedFolder, known_visits: Mapping[str, Visit], keys: RowKeys
) -> list[Fault]:
    """Every cell and row by which the folder says something else of the visits that are there."""
    faults = [
        fault
        for row in folder.visits
        if row.name in known_visits
        for fault in _of_visit(row, known_visits[row.name])
    ]
    names = [row.name for row in folder.visits]
    known_places = {place for place, name in enumerate(names) if name in known_visits}
    readings = folder.readings
    meters = [row.name for row in folder.instruments]
    uids = keys.of_readings(readings, folder.visits, meters)
    stored = set(
        Reading.objects.filter(visit__in=known_visits.values()).values_list("uid", flat=True)
    )
    faults += [
        _unknown_row(READINGS, number, names[place])
        for place, number, uid in zip(
            readings.visit.tolist(), readings.row_numbers.tolist(), uids, strict=True
        )
        if place in known_places and uid not in stored
    ]
    checks = GroundCheck.objects.filter(visit__in=known_visits.values())
    tried = set(checks.values_list("uid", flat=True))
    for row in folder.ground_checks:
        uid = keys.of_ground_check(row, folder.visits)
        if row.visit in known_places and uid not in tried:
            faults.append(_unknown_row(GROUND_CHECKS, row.row_number, names[row.visit]))
    return faults


def _of_visit(row: VisitRow, visit: Visit) -> list[Fault]:
    """An empty cell says nothing; any other says the same as the visit."""
    faults = []
    for column, field in SAYS.items():
        cell, value = getattr(row, field), getattr(visit, field)
        if cell not in (None, "") and cell != value:
            words = _("%(value)s, as visit %(visit)s of the case has it")
            allowed = words % {"value": _shown(value), "visit": visit.label}
            faults.append(Fault(VISITS, row.row_number, column, str(cell), allowed))
    return faults


def _unknown_row(file: str, number: int, visit: str) -> Fault:
    allowed = _(
        "a row that visit %(visit)s of the case has already; further ones need a visit of their own"
    )
    return Fault(file, number, "visit", visit, allowed % {"visit": visit})


def _shown(value: Any) -> str:
    return _("nothing") if value in (None, "") else str(value)


def new_places(visits: Sequence[VisitRow], known_visits: Mapping[str, Visit]) -> list[int]:
    """Which visits of a folder the case does not have."""
    return [place for place, row in enumerate(visits) if row.name not in known_visits]
