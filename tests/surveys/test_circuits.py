"""Panels, circuits and appliances: entered, named once at home, linked to what was off."""

import io
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils import timezone
from python_calamine import CalamineWorkbook

from consult.services.changes import version_of
from mitigation.services.exports import export_case_folder, export_case_workbook
from mitigation.services.imports import import_case_folder
from surveys.intake import CaseFolderRefused, Upload
from surveys.intake.template import write_template
from surveys.models import Appliance, Circuit, CircuitOff, Measurand, Panel, Reading, Room, Visit
from surveys.services import circuits, visits
from tests.factories import (
    BASELINE_DAY,
    CalibrationFactory,
    PropertyFactory,
    SpotFactory,
    UserFactory,
    compared_case,
)
from tests.surveys.case_folders import READINGS, TABLES, as_files, as_workbook, as_zip, changed

CIRCUITS = [
    ["circuit", "panel", "label", "phase", "rating_a", "rcd", "poles", "note"],
    ["F1", "Hall", "bedroom", "L1", "16", "yes", "1", "old wiring"],
    ["F2", "Cellar", "heating", "L3", "10.5", "no", "2", ""],
    ["F3", "hall", "", "", "", "", "", ""],
]
APPLIANCES = [
    ["appliance", "circuit", "room", "note"],
    ["bedside lamp", "f1", "Bedroom", "two-pole plug"],
    ["charger", "", "", ""],
]
OFF = changed(READINGS, 4, circuits_off="F1; Bedside Lamp")
DECLARED = {**TABLES, "readings.csv": OFF, "circuits.csv": CIRCUITS, "appliances.csv": APPLIANCES}


def imported(upload):
    return import_case_folder(source=upload, by=None, now=timezone.now()).case


def off(reading):
    return (
        sorted(reading.off_circuits.values_list("name", flat=True)),
        sorted(reading.off_appliances.values_list("name", flat=True)),
    )


def rows_of_home():
    circuit = ("name", "panel__name", "label", "phase", "rating_a", "rcd", "poles", "note", "uid")
    appliance = ("name", "circuit__name", "room__name", "note", "uid")
    return (
        set(Circuit.objects.values_list(*circuit)),
        set(Appliance.objects.values_list(*appliance)),
        sorted((reading.position, off(reading)) for reading in Reading.objects.all()),
    )


# -- Case folders -----------------------------------------------------------------------------


@pytest.mark.django_db
@pytest.mark.parametrize("make", [lambda t: as_zip(as_files(t)), as_workbook])
def test_a_folder_brings_circuits_and_appliances(make):
    imported(make(DECLARED))
    panels = dict(Panel.objects.values_list("name", "property"))
    assert set(panels) == {"Hall", "Cellar"}  # hall and Hall are one
    first = Circuit.objects.get(name="F1")
    assert (first.panel.name, first.label, first.phase, first.rating_a, first.rcd, first.poles) == (
        "Hall", "bedroom", "L1", 16.0, "yes", 1)  # fmt: skip
    second = Circuit.objects.get(name="F2")
    assert (second.rating_a, second.rcd, second.poles) == (10.5, "no", 2)
    lamp = Appliance.objects.get(name="bedside lamp")
    assert (lamp.circuit, lamp.room.name, lamp.note) == (first, "Bedroom", "two-pole plug")
    reading = Reading.objects.get(state="trial")
    assert off(reading) == (["F1"], ["bedside lamp"])
    assert (reading.circuits_off, reading.main_switch_off) == ("F1; Bedside Lamp", False)


@pytest.mark.django_db
def test_without_circuits_csv_names_are_taken_as_they_come():
    imported(as_zip())
    assert off(Reading.objects.get(state="trial")) == (["F1", "F3"], [])
    assert Panel.objects.get().name == "panel"


@pytest.mark.django_db
def test_an_appliance_alone_is_an_appliance_and_other_names_are_circuits():
    tables = {**TABLES, "readings.csv": OFF, "appliances.csv": [APPLIANCES[0], ["bedside lamp"]]}
    tables["appliances.csv"][1] += ["", "", ""]
    imported(as_zip(as_files(tables)))
    assert off(Reading.objects.get(state="trial")) == (["F1"], ["bedside lamp"])


@pytest.mark.django_db
@pytest.mark.parametrize("tables", [TABLES, DECLARED])
def test_the_main_switch_is_no_circuit(tables):
    rows = changed(READINGS, 4, circuits_off=" * ")
    imported(as_zip(as_files({**tables, "readings.csv": rows})))
    reading = Reading.objects.get(state="trial")
    assert (reading.main_switch_off, reading.circuits_off, off(reading)) == (True, "*", ([], []))
    assert not Circuit.objects.filter(name="*").exists()


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("name", "row", "cells", "fault"),
    [
        ("circuits.csv", 2, {"phase": "L4"}, ("circuits.csv", 2, "phase")),
        ("circuits.csv", 2, {"rating_a": "0"}, ("circuits.csv", 2, "rating_a")),
        ("circuits.csv", 2, {"rcd": "maybe"}, ("circuits.csv", 2, "rcd")),
        ("circuits.csv", 2, {"poles": "3"}, ("circuits.csv", 2, "poles")),
        ("circuits.csv", 4, {"circuit": ""}, ("circuits.csv", 4, "circuit")),
        ("circuits.csv", 3, {"circuit": "F9;F1"}, ("circuits.csv", 3, "circuit")),
        ("circuits.csv", 3, {"circuit": "*"}, ("circuits.csv", 3, "circuit")),
        ("circuits.csv", 3, {"circuit": "f1"}, ("circuits.csv", 3, "circuit")),
        ("appliances.csv", 2, {"circuit": "F8"}, ("appliances.csv", 2, "circuit")),
        ("appliances.csv", 2, {"room": "Attic"}, ("appliances.csv", 2, "room")),
        ("appliances.csv", 3, {"appliance": "F2"}, ("appliances.csv", 3, "appliance")),
        ("appliances.csv", 3, {"appliance": "Bedside  lamp"}, ("appliances.csv", 3, "appliance")),
        ("readings.csv", 4, {"circuits_off": "F1; F9"}, ("readings.csv", 4, "circuits_off")),
        ("readings.csv", 4, {"circuits_off": "F1; *"}, ("readings.csv", 4, "circuits_off")),
    ],
)
def test_a_wrong_cell_is_named(name, row, cells, fault):
    tables = {**DECLARED, name: changed(DECLARED[name], row, **cells)}
    with pytest.raises(CaseFolderRefused) as refused:
        imported(as_zip(as_files(tables)))
    faults = [(fault.file, fault.row, fault.column) for fault in refused.value.faults]
    assert fault in faults and len(faults) == 1


@pytest.mark.django_db
def test_an_appliance_on_a_circuit_that_no_file_declares_is_a_wrong_cell():
    tables = {**TABLES, "appliances.csv": APPLIANCES}
    with pytest.raises(CaseFolderRefused) as refused:
        imported(as_zip(as_files(tables)))
    assert [fault.column for fault in refused.value.faults] == ["circuit"]


@pytest.mark.django_db
@pytest.mark.parametrize("tables", [DECLARED, TABLES])
@pytest.mark.parametrize(
    ("export", "name"), [(export_case_folder, "a.zip"), (export_case_workbook, "a.xlsx")]
)
def test_circuits_go_out_and_come_in_again(export, name, tables):
    with transaction.atomic():
        data = export(case=imported(as_zip(as_files(tables))))
        first = rows_of_home()
        transaction.set_rollback(True)
    imported(Upload(name, data))
    assert rows_of_home() == first
    assert any(names != ([], []) for _position, names in first[2])


@pytest.mark.django_db
def test_the_template_has_both_sheets_and_an_empty_one_forbids_nothing():
    book = CalamineWorkbook.from_filelike(io.BytesIO(write_template()))
    for name, header in (("circuits", CIRCUITS[0]), ("appliances", APPLIANCES[0])):
        assert book.get_sheet_by_name(name).to_python()[0] == header
    words = [row[1] for row in book.get_sheet_by_name("explanations").to_python()]
    assert {"rating_a", "appliance"} <= set(words)
    imported(as_workbook({**TABLES, "circuits.csv": CIRCUITS[:1]}))
    assert off(Reading.objects.get(state="trial")) == (["F1", "F3"], [])


# -- At the panel -----------------------------------------------------------------------------


@pytest.fixture
def office(db):
    return UserFactory()


@pytest.fixture
def visit(office):
    return visits.plan_visit(home=PropertyFactory(), kind="baseline", day=BASELINE_DAY, by=office)


@pytest.fixture
def typed(visit, office):
    calibration = CalibrationFactory.create()
    return {"visit": visit, "by": office, "spot": SpotFactory(home=visit.property),
            "measurand": Measurand.ELECTRIC_FIELD_GROUND, "instrument": calibration.instrument,
            "unit": "V/m", "total": 4.0, "state": "trial"}  # fmt: skip


def test_a_circuit_is_entered_once_and_known_by_its_key(visit, office):
    given = {"home": visit.property, "by": office, "panel": "Hall", "name": "F1", "phase": "L1",
             "uid": uuid4()}  # fmt: skip
    first = circuits.add_circuit(**given)
    assert circuits.add_circuit(**given) == first
    with pytest.raises(ValidationError, match="with other content"):
        circuits.add_circuit(**given | {"phase": "L2"})
    assert circuits.add_circuit(home=visit.property, by=office, name="F2", panel="HALL")
    assert Panel.objects.get().name == "Hall"
    assert first.history.get().history_user == office


@pytest.mark.parametrize(
    ("name", "fields"),
    [("F1", {}), ("f1 ", {}), ("Lamp", {}), ("a;b", {}), ("*", {}), ("", {}),
     ("F9", {"phase": "L4"}), ("F9", {"rating_a": 0.0}), ("F9", {"rating_a": float("inf")}),
     ("F9", {"rcd": "maybe"}), ("F9", {"poles": 3})],
)  # fmt: skip
def test_what_no_circuit_may_be_is_refused(name, fields, visit, office):
    home = {"home": visit.property, "by": office}
    circuits.add_circuit(**home, name="F1")
    circuits.add_appliance(**home, name="lamp")
    with pytest.raises(ValidationError):
        circuits.add_circuit(**home, name=name, panel="another", **fields)
    if not fields:
        with pytest.raises(ValidationError):
            circuits.add_appliance(**home, name=name)
    assert (Circuit.objects.count(), Appliance.objects.count()) == (1, 1)


def test_an_appliance_is_of_its_own_home(visit, office):
    elsewhere = PropertyFactory()
    circuit = circuits.add_circuit(home=elsewhere, by=office, name="F1")
    room = Room.objects.create(property=elsewhere, name="Attic")
    with pytest.raises(ValidationError) as refused:
        circuits.add_appliance(
            home=visit.property, by=office, name="lamp", circuit=circuit, room=room
        )
    assert set(refused.value.message_dict) == {"circuit", "room"}


def test_a_reading_is_linked_to_what_its_text_names(visit, office, typed):
    home = {"home": visit.property, "by": office}
    circuits.add_circuit(**home, name="F1")
    reading = visits.record_reading(**typed, circuits_off="f1; F7; lamp")
    assert off(reading) == (["F1"], [])
    circuits.add_appliance(**home, name="Lamp")  # a row that declares it later
    f7 = circuits.add_circuit(**home, name="F7")
    assert off(reading) == (["F1", "F7"], ["Lamp"])
    assert reading.circuits_off == "f1; F7; lamp"
    changed_row = visits.correct_reading(reading=reading, by=office, circuits_off="F1")
    assert off(changed_row) == (["F1"], [])
    circuits.remove_circuit(circuit=f7, by=office)
    everything = visits.correct_reading(reading=reading, by=office, circuits_off="*")
    assert (off(everything), everything.main_switch_off) == (([], []), True)
    with pytest.raises(ValidationError) as refused:
        visits.correct_reading(reading=reading, by=office, circuits_off="F1; *")
    assert set(refused.value.message_dict) == {"circuits_off"}


def test_a_name_that_readings_give_stays_and_so_does_its_row(visit, office, typed):
    f1 = circuits.add_circuit(home=visit.property, by=office, name="F1")
    lamp = circuits.add_appliance(home=visit.property, by=office, name="lamp", circuit=f1)
    visits.record_reading(**typed, circuits_off="F1")
    with pytest.raises(ValidationError) as refused:
        circuits.change_circuit(circuit=f1, by=office, name="F2")
    assert set(refused.value.message_dict) == {"name"}
    row = circuits.change_circuit(circuit=f1, by=office, name="f1", label="bedroom", panel="Hall")
    assert (row.name, row.label, row.panel.name) == ("f1", "bedroom", "Hall")
    with pytest.raises(ValidationError):
        circuits.remove_circuit(circuit=f1, by=office)
    with pytest.raises(ValidationError):
        circuits.remove_panel(panel=row.panel, by=office)
    renamed = circuits.change_appliance(appliance=lamp, by=office, name="reading lamp")
    assert renamed.name == "reading lamp"
    circuits.remove_appliance(appliance=lamp, by=office)
    assert not Appliance.objects.exists()
    empty = Panel.objects.get(name="panel")
    assert circuits.rename_panel(panel=empty, by=office, name="Attic").name == "Attic"
    circuits.remove_panel(panel=empty, by=office)
    assert [panel.name for panel in Panel.objects.all()] == ["Hall"]


def test_nobodys_change_is_undone(visit, office):
    f1 = circuits.add_circuit(home=visit.property, by=office, name="F1")
    seen = version_of(f1)
    circuits.change_circuit(circuit=f1, by=office, version=seen, label="bedroom")
    with pytest.raises(ValidationError, match="changed this meanwhile"):
        circuits.change_circuit(circuit=f1, by=office, version=seen, label="study")


def test_a_link_of_a_sealed_visit_stays(visit, office, typed):
    circuits.add_circuit(home=visit.property, by=office, name="F1")
    visits.record_reading(**typed, circuits_off="F1; F2")
    Visit.objects.filter(pk=visit.pk).update(sealed_at=timezone.now())
    circuits.add_circuit(home=visit.property, by=office, name="F2")  # declared after the seal
    assert CircuitOff.objects.count() == 2
    with pytest.raises(IntegrityError), transaction.atomic():
        CircuitOff.objects.all().delete()


def test_the_form_offers_what_is_declared_and_keeps_what_is_typed_beside(client, visit, office):
    calibration = CalibrationFactory.create()
    spot = SpotFactory(home=visit.property)
    circuits.add_circuit(home=visit.property, by=office, name="F1", label="bedroom")
    circuits.add_appliance(home=visit.property, by=office, name="lamp")
    client.force_login(office)
    page = client.get(reverse("visit_detail", args=[visit.pk])).content.decode()
    assert page.count('type="checkbox" name="sources_off"') == 2 and "F1 (bedroom)" in page
    sent = {"key": str(uuid4()), "spot": spot.pk, "measurand": "electric-field-ground",
            "instrument": calibration.instrument_id, "unit": "V/m", "total": "4", "state": "trial",
            "sources_off": ["F1", "lamp"], "circuits_off": "oven ; f1"}  # fmt: skip
    assert client.post(reverse("reading_add", args=[visit.pk]), sent).status_code == 302
    reading = Reading.objects.get()
    assert (reading.circuits_off, off(reading)) == ("F1; lamp; oven", (["F1"], ["lamp"]))
    form = client.get(reverse("reading_correct", args=[reading.pk])).content.decode()
    assert form.count("checked") == 2 and 'value="oven"' in form


def test_the_page_and_the_history_show_them(client, office, django_assert_max_num_queries):
    case = compared_case()
    home = {"home": case.property, "by": office}
    f1 = circuits.add_circuit(**home, name="F1", label="bedroom", phase="L1", rating_a=16.0)
    circuits.add_appliance(**home, name="lamp", circuit=f1)
    client.force_login(office)
    with django_assert_max_num_queries(20):
        page = client.get(reverse("place_list", args=[case.property_id])).content.decode()
    assert "F1" in page and "bedroom" in page and "lamp" in page
    circuits.change_circuit(circuit=f1, by=office, label="bedroom and hall")
    client.get(reverse("case_history", args=[case.reference]))
    history = client.get(reverse("case_history", args=[case.reference])).content.decode()
    assert "Circuit F1" in history and "bedroom and hall" in history and "Appliance lamp" in history
