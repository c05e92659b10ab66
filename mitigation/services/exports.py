"""A case as a case folder: the plain-text form that imports again to the same numbers."""

from collections.abc import Iterable, Sequence
from datetime import date
from typing import Any

from django.core.exceptions import ValidationError
from django.db.models import QuerySet
from django.utils.translation import gettext as _

from mitigation.models import Case, PlanItem
from surveys.calc.certificates import in_force
from surveys.intake.columns import COLUMNS
from surveys.intake.sources import (
    APPLIANCES,
    CIRCUITS,
    GROUND_CHECKS,
    INSTRUMENTS,
    READINGS,
    REMEDIES,
    VISITS,
)
from surveys.intake.writing import CaseValues, Cell, write_folder, write_workbook
from surveys.models import (
    Appliance,
    Calibration,
    Circuit,
    GroundCheck,
    Reading,
    Visit,
)
from surveys.models.circuits import as_list, names_in
from surveys.models.names import folded
from surveys.services.corrections import corrections_at
from surveys.services.reading_rows import reading_rows, visit_names
from surveys.services.sources import main_switch_is_off

Tables = dict[str, list[list[Cell]]]


def export_case_folder(*, case: Case) -> bytes:
    """The case as a zip of text files."""
    return write_folder(_head(case), _tables(case))


def export_case_workbook(*, case: Case) -> bytes:
    """The case as one XLSX file."""
    return write_workbook(_head(case), _tables(case))


def _head(case: Case) -> CaseValues:
    home = case.property
    return {
        "reference": case.reference,
        "client.name": home.client.name,
        "client.email": home.client.email,
        "client.language": home.client.language,
        "property.address": home.address,
        "property.country": home.country,
        "property.supply_voltage": home.supply_voltage_v,
        "property.frequency": home.frequency_hz,
        "property.phases": home.phases,
        "assessment.guideline": case.guideline.code,
        "assessment.target": case.target_band,
        "assessment.placement_percent": case.placement_percent,
    }


def _tables(case: Case) -> Tables:
    """Sealed visits with all that hangs on them: a fixed number of queries for any case."""
    visits = list(case.visits.filter(sealed_at__isnull=False).order_by("position", "pk"))
    names = visit_names(visits)
    readings = Reading.objects.filter(visit__in=visits)
    calibrations = list(
        Calibration.objects.filter(readings__visit__in=visits)
        .distinct()
        .select_related("instrument")
    )
    _refuse_other_certificates(case, visits, calibrations, readings)
    checks = GroundCheck.objects.filter(visit__in=visits).order_by("pk")
    _refuse_unknown_instruments(case, readings)
    rows = reading_rows(readings, names, corrections_at(visits))
    return (
        _source_tables(case, rows)
        | _item_tables(case, rows)
        | {
            INSTRUMENTS: _instrument_rows(calibrations),
            VISITS: [_visit_row(visit, names[visit.pk]) for visit in visits],
            READINGS: rows,
            GROUND_CHECKS: [
                [names[visit], *cells]
                for visit, *cells in checks.values_list(
                    "visit_id",
                    "point__name",
                    "other_point__name",
                    "voltage_v",
                    "outlet_test",
                    "note",
                )
            ],
        }
    )


def _visit_row(visit: Visit, name: str) -> list[Cell]:
    return [
        name,
        visit.kind,
        visit.date,
        visit.assessor,
        visit.temperature_c,
        visit.humidity_percent,
        visit.supply_voltage_v,
        visit.deviations,
        visit.sampling,
        visit.note,
    ]


def _source_tables(case: Case, readings: Sequence[Sequence[Cell]]) -> Tables:
    """Circuits and appliances, where the home has some.

    A name that readings give and no row declares is written as a circuit, as it would come in; a
    room in which nothing was read cannot be named by an appliance of a folder.
    """
    home = case.property_id
    circuits: list[list[Cell]] = [
        list(row)
        for row in Circuit.objects.at(home).values_list(
            "name", "panel__name", "label", "phase", "rating_a", "rcd", "poles", "note"
        )
    ]
    appliances = Appliance.objects.at(home).values_list(
        "name", "circuit__name", "room__name", "note"
    )
    appliance_rows: list[list[Cell]] = [list(row) for row in appliances]
    if not circuits and not appliance_rows:
        return {}
    rooms = {row[_ROOM] for row in readings}
    for cells in appliance_rows:
        if cells[2] not in rooms:
            cells[2] = None
    declared = {folded(str(row[0])) for row in (*circuits, *appliance_rows)}
    for text in dict.fromkeys(str(row[_OFF] or "") for row in readings):
        for name in [] if main_switch_is_off(text) else names_in(text):
            if folded(name) not in declared:
                declared.add(folded(name))
                circuits.append([name, *[None] * 7])
    tables: Tables = {CIRCUITS: circuits}
    return tables | ({APPLIANCES: appliance_rows} if appliance_rows else {})


def _item_tables(case: Case, readings: Sequence[Sequence[Cell]]) -> Tables:
    """The items of the case, with those of their spots at which something was read."""
    rooms = {row[_ROOM] for row in readings}
    read_spots = {(row[_ROOM], row[_SPOT]) for row in readings}
    rows: list[list[Cell]] = []
    for item in PlanItem.objects.filter(case=case).whole():
        room = item.room.name if item.room else None
        named = list(item.spots.all())
        spots = [spot for spot in named if (room, spot.name) in read_spots]
        if (room is not None and room not in rooms) or (named and not spots):
            raise _unread_place(case, item)
        rows.append(
            [
                item.name,
                item.remedy.key,
                _names(item.circuits.all()),
                _names(item.appliances.all()),
                room,
                _names(spots),
                item.effect_db,
                item.spread_db,
                item.works_percent,
                None if item.cost is None else float(item.cost),
                "yes" if item.is_chosen else "no",
                item.state,
                item.done_on,
                item.done_by,
                item.note,
            ]
        )
    return {REMEDIES: rows} if rows else {}


def _unread_place(case: Case, item: PlanItem) -> ValidationError:
    """A folder knows places by their readings; without its place an item would serve others."""
    return ValidationError(
        _(
            "Item %(item)s of case %(case)s is for a place at which nothing was read, and a case "
            "folder cannot name such a place."
        )
        % {"item": item.name, "case": case.reference}
    )


def _names(rows: Iterable[Any]) -> str:
    return as_list(row.name for row in rows)


_ROOM, _SPOT, _OFF = (
    [column.name for column in COLUMNS[READINGS]].index(name)
    for name in ("room", "spot", "circuits_off")
)


def _refuse_unknown_instruments(case: Case, readings: QuerySet[Reading]) -> None:
    if readings.filter(calibration__isnull=True).exists():
        raise ValidationError(
            _("Case %(case)s has readings of an instrument that nothing is known of.")
            % {"case": case.reference}
        )


def _refuse_other_certificates(
    case: Case, visits: Sequence[Visit], calibrations: Sequence[Calibration], readings: Any
) -> None:
    """In a folder the dates say which certificate a reading has; refuse where they say another."""
    began: dict[tuple[int, str], dict[int, date | None]] = {}
    for row in calibrations:
        began.setdefault((row.instrument_id, row.quantity), {})[row.pk] = row.calibrated_on
    meter = {row.pk: (row.instrument_id, row.quantity) for row in calibrations}
    day = {visit.pk: visit.date for visit in visits}
    pinned = readings.exclude(calibration=None).order_by().values_list("visit_id", "calibration_id")
    clear = all(len(set(days.values())) == len(days) for days in began.values())
    if not clear or any(
        in_force(day[visit], began[meter[calibration]]) != calibration
        for visit, calibration in pinned.distinct()
    ):
        raise ValidationError(
            _("Case %(case)s has readings under a certificate that its dates do not point to.")
            % {"case": case.reference}
        )


def _instrument_rows(calibrations: Iterable[Calibration]) -> list[list[Cell]]:
    return [
        [
            row.instrument.name,
            row.description,
            row.quantity,
            row.axes,
            row.unit,
            row.gain_percent,
            row.resolution,
            row.noise,
            row.floor,
            row.ceiling,
            row.low_hz,
            row.high_hz,
            row.certificate,
            row.calibrated_on,
            row.due_on,
            row.instrument.maker,
            row.instrument.serial,
            row.laboratory,
        ]
        for row in calibrations
    ]
