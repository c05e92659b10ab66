"""What was measured, as spreadsheets: visits, registers and placement, and one visit."""

from typing import Any

from django.http import HttpResponse
from django.shortcuts import get_object_or_404
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from consult.access import SignedInRequest, role_required
from consult.letters.words import phrase, phrases
from consult.models import Property
from consult.pages.downloads import spreadsheet
from consult.services.spreadsheets import Cell, Column, Sheet
from surveys.models import Band, Instrument, Measurand, Reading, Visit, displays
from surveys.models.measurands import measurand_words
from surveys.pages.places import appliances_of, panels_of, rooms_of
from surveys.pages.registers import certificates_of, guideline_tables, instrument_rows
from surveys.pages.visit import (
    chosen_guideline,
    chosen_placement,
    findings_at,
    readings_in_order,
)
from surveys.pages.visits import wanted_visits
from surveys.results import reading_figures
from surveys.results.certificates import Standing
from surveys.services.corrections import corrections_at
from surveys.services.placement import own_placement


@require_safe
@role_required("office", "assessor")
def visit_list_export(request: SignedInRequest) -> HttpResponse:
    columns: list[Column] = [
        (_("Visit"), lambda visit: visit.label),
        (_("Kind"), lambda visit: visit.get_kind_display()),
        (_("Day"), lambda visit: visit.date),
        (_("Client"), lambda visit: visit.property.client.name),
        (_("Property"), lambda visit: str(visit.property)),
        (_("Assessor"), lambda visit: visit.assessor),
        (_("Readings"), lambda visit: visit.n_readings),
        (_("Sealed on"), lambda visit: visit.sealed_at and timezone.localdate(visit.sealed_at)),
    ]
    return spreadsheet(_("visits"), Sheet(_("Visits"), columns, wanted_visits(request)))


@require_safe
@role_required("office", "assessor")
def visit_detail_export(request: SignedInRequest, pk: int) -> HttpResponse:
    """Readings, findings and ground checks of a visit, each on a sheet."""
    visits = Visit.objects.visible_to(request.user).select_related("property")
    visit = get_object_or_404(visits, pk=pk)
    guideline, placement = chosen_guideline(request), chosen_placement(request)
    figures = reading_figures(visit, guideline=guideline, placement=placement)
    readings = [(row, figures[row.pk]) for row in readings_in_order(visit)]
    corrected = {correction.reading_id: correction.reason for correction in corrections_at([visit])}
    checks = visit.ground_checks.select_related("point", "other_point")
    findings = findings_at(visit, guideline, placement)
    return spreadsheet(
        f"{_('visit')} {visit.label} {visit.date}",
        Sheet(_("Readings"), [*_place_columns(), *_reading_columns(corrected)], readings),
        Sheet(_("Findings per spot"), _finding_columns(), findings),
        Sheet(_("Ground checks"), _check_columns(), checks),
    )


def _place_columns() -> list[Column]:
    return [
        (_("No."), lambda row: row[0].position),
        (_("Room"), lambda row: row[0].spot.room.name),
        (_("Spot"), lambda row: row[0].spot.name),
        (_("Quantity"), lambda row: measurand_words(row[0].measurand)),
        (_("Instrument"), lambda row: row[0].instrument.name),
        (_("Ground point"), lambda row: row[0].ground_point and row[0].ground_point.name),
        (_("State"), lambda row: row[0].get_state_display()),
        (_("Circuits off"), lambda row: row[0].circuits_off),
    ]


def _reading_columns(corrected: dict[int, str]) -> list[Column]:
    return [
        ("X", lambda row: displays.cell_of(row[0], "x")),
        ("Y", lambda row: displays.cell_of(row[0], "y")),
        ("Z", lambda row: displays.cell_of(row[0], "z")),
        (_("Total read"), lambda row: displays.cell_of(row[0], "total")),
        (_("Unit"), lambda row: row[0].unit),
        (_("Sign"), lambda row: row[1].qualifier),
        (_("Result"), lambda row: row[1].value),
        (_("U (k = 2)"), lambda row: _expanded(row[1].u)),
        (_("In"), lambda row: row[1].unit),
        (_("Band"), lambda row: row[1].band),
        (_("Set aside"), lambda row: row[0].set_aside),
        (_("Put right after the seal"), lambda row: corrected.get(row[0].pk)),
        (_("Load"), lambda row: row[0].load),
        (_("Note"), lambda row: row[0].note),
    ]


def _expanded(u: float) -> float | None:
    return 2 * u if u == u else None  # not a number where no instrument row says how well it reads


def _finding_columns() -> list[Column]:
    return [
        (_("Room"), lambda row: row["spot"].room.name),
        (_("Spot"), lambda row: row["spot"].name),
        (_("Quantity"), lambda row: measurand_words(row["finding"].measurand)),
        (_("Unit"), lambda row: row["finding"].unit),
        (_("Sign"), lambda row: row["finding"].qualifier),
        (_("Highest reading"), lambda row: row["finding"].value),
        (_("U (k = 2)"), lambda row: _expanded(row["finding"].u)),
        (_("Band"), lambda row: row["finding"].band),
        (_("Readings"), lambda row: row["finding"].n_readings),
        (_("Certificate in force"), lambda row: _("yes") if row["finding"].certified else _("no")),
        (_("What to know"), lambda row: phrases(row["finding"].flags)),
    ]


def _check_columns() -> list[Column]:
    return [
        (_("Ground point"), lambda check: check.point.name),
        (_("Outlet test"), lambda check: check.get_outlet_test_display()),
        (_("Against"), lambda check: check.other_point and check.other_point.name),
        (_("Voltage [V]"), lambda check: check.voltage_v),
        (_("Note"), lambda check: check.note),
    ]


@require_safe
@role_required("office", "assessor")
def place_list_export(request: SignedInRequest, pk: int) -> HttpResponse:
    """A row for each spot; a room without one has a row too."""
    home = get_object_or_404(Property.objects.visible_to(request.user), pk=pk)
    rows = [(room, spot) for room in rooms_of(home) for spot in list(room.spots.all()) or (None,)]
    columns: list[Column] = [
        (_("Room"), lambda row: row[0].name),
        (_("Spot"), lambda row: row[1] and row[1].name),
        (_("Use"), lambda row: row[1] and row[1].get_use_display()),
    ]
    circuits = [(panel, circuit) for panel in panels_of(home) for circuit in panel.circuits.all()]
    circuit_columns: list[Column] = [
        (_("Panel"), lambda row: row[0].name),
        (_("Circuit"), lambda row: row[1].name),
        (_("What it feeds"), lambda row: row[1].label),
        (_("Phase"), lambda row: row[1].phase),
        (_("Rating [A]"), lambda row: row[1].rating_a),
        (_("Residual-current protection"), lambda row: row[1].get_rcd_display()),
        (_("Poles"), lambda row: row[1].poles),
        (_("Note"), lambda row: row[1].note),
    ]
    appliance_columns: list[Column] = [
        (_("Appliance"), lambda row: row.name),
        (_("Circuit"), lambda row: row.circuit and row.circuit.name),
        (_("Room"), lambda row: row.room and row.room.name),
        (_("Note"), lambda row: row.note),
    ]
    return spreadsheet(
        _("rooms and spots"),
        Sheet(_("Rooms and spots"), columns, rows),
        Sheet(_("Circuits"), circuit_columns, circuits),
        Sheet(_("Appliances"), appliance_columns, list(appliances_of(home))),
    )


@require_safe
@role_required("office", "assessor")
def instrument_list_export(request: SignedInRequest) -> HttpResponse:
    """What falls due next, then the instruments that stand below the table."""
    standings, others = instrument_rows(timezone.localdate())
    rows = [*standings, *others]
    columns: list[Column] = [
        (_("Instrument"), lambda row: _instrument(row).name),
        (_("Maker"), lambda row: _instrument(row).maker),
        (_("Serial number"), lambda row: _instrument(row).serial),
        (_("Description"), lambda row: _of_newest(row, lambda newest: newest.description)),
        *(
            (title, lambda row, value=value: _of_newest(row, value))
            for title, value in _certificate_columns()[:4]
        ),
        (_("Days left"), lambda row: row.days_left if isinstance(row, Standing) else None),
        (_("Out of use"), lambda row: _("yes") if _instrument(row).is_retired else _("no")),
    ]
    return spreadsheet(_("instruments"), Sheet(_("Instruments"), columns, rows))


def _instrument(row: Standing | Instrument) -> Instrument:
    return row.calibration.instrument if isinstance(row, Standing) else row


def _of_newest(row: Standing | Instrument, value: Any) -> Cell:
    cell: Cell = value(row.calibration) if isinstance(row, Standing) else None
    return cell


def _certificate_columns() -> list[Column]:
    return [
        (_("Quantity"), lambda row: row.get_quantity_display()),
        (_("Certificate"), lambda row: row.certificate),
        (_("Calibrated"), lambda row: row.calibrated_on),
        (_("Due"), lambda row: row.due_on),
        (_("Unit"), lambda row: row.unit),
        (_("Gain [%]"), lambda row: row.gain_percent),
        (_("Resolution"), lambda row: row.resolution),
        (_("Noise"), lambda row: row.noise),
        (_("Floor"), lambda row: row.floor),
        (_("Ceiling"), lambda row: row.ceiling),
        (_("From [Hz]"), lambda row: row.low_hz),
        (_("To [Hz]"), lambda row: row.high_hz),
        (_("Description"), lambda row: row.description),
        (_("Calibration laboratory"), lambda row: row.laboratory),
    ]


@require_safe
@role_required("office", "assessor")
def instrument_detail_export(request: SignedInRequest, pk: int) -> HttpResponse:
    instrument = get_object_or_404(Instrument, pk=pk)
    columns = [*_certificate_columns(), (_("Sealed readings"), lambda row: row.n_sealed)]
    sheet = Sheet(_("Certificates"), columns, certificates_of(instrument))
    return spreadsheet(f"{_('certificates')} {instrument.name}", sheet)


@require_safe
@role_required("office", "assessor")
def guideline_list_export(request: SignedInRequest) -> HttpResponse:
    """A row for each guideline and quantity, with its bands."""
    rows = [
        (table["guideline"], row["measurand"], {band.number: band for band in row["bands"]})
        for table in guideline_tables()
        for row in table["rows"]
    ]
    columns: list[Column] = [
        (_("Guideline"), lambda row: row[0].code),
        (_("Title"), lambda row: row[0].title),
        (_("Built in"), lambda row: _("yes") if row[0].is_built_in else _("no")),
        (_("Quantity"), lambda row: measurand_words(row[1])),
        (_("Unit"), lambda row: Measurand(row[1]).unit),
    ]
    for number in (1, 2, 3, 4):
        columns += _band_columns(number)
    columns += [(_("Source"), lambda row: row[0].source), (_("Note"), lambda row: row[0].note)]
    return spreadsheet(_("guidelines"), Sheet(_("Guidelines"), columns, rows))


def _band_columns(number: int) -> list[Column]:
    """Its words and, for all but the last, the bound up to which it goes."""

    def name(row: tuple[Any, str, dict[int, Band]]) -> Cell:
        return phrase(row[2][number].name) if number in row[2] else None

    def upper(row: tuple[Any, str, dict[int, Band]]) -> Cell:
        return row[2][number].upper if number in row[2] else None

    words = {"number": number}
    columns: list[Column] = [(_("Band %(number)s") % words, name)]
    return columns if number == 4 else [*columns, (_("Band %(number)s up to") % words, upper)]


@require_safe
@role_required("office", "assessor")
def placement_export(request: SignedInRequest) -> HttpResponse:
    own = own_placement(Reading.objects.visible_to(request.user))
    columns: list[Column] = [
        (_("Room"), lambda group: group.reading.spot.room.name),
        (_("Spot"), lambda group: group.reading.spot.name),
        (_("Quantity"), lambda group: measurand_words(group.reading.measurand)),
        (_("Visit"), lambda group: group.reading.visit.label),
        (_("Day"), lambda group: group.reading.visit.date),
        (_("Instrument"), lambda group: group.reading.instrument.name),
        (_("Readings"), lambda group: group.n),
        (_("Mean"), lambda group: group.mean),
        (_("Unit"), lambda group: group.unit),
        (_("Spread [%]"), lambda group: group.percent),
    ]
    sheet = Sheet(_("Repeated spots"), columns, own.groups if own else [])
    return spreadsheet(_("placement"), sheet)
