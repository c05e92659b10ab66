"""An instrument with two sensors: its label and plate are its own, the rest stands by quantity."""

import csv
import datetime as dt
import io
import zipfile
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse
from django.utils import timezone

from consult.letters.formats import Formats
from mitigation.services.exports import export_case_folder
from mitigation.services.imports import import_case_folder
from surveys.intake import CaseFolderRefused
from surveys.letters.technical import instruments_used
from surveys.models import Calibration, Instrument, Reading
from surveys.services.facts import instrument_facts
from surveys.services.registers import add_calibration
from tests.factories import UserFactory
from tests.surveys.case_folders import CASE_TOML, INSTRUMENTS, TABLES, as_files, as_zip, changed

pytestmark = pytest.mark.django_db
PLATE = ("maker", "serial", "laboratory")
SECOND = CASE_TOML.replace("EB-TEST-1", "EB-TEST-2")


def two_sensors() -> list[list[str]]:
    """Probe E reads electric fields and, by its second sensor, flux density."""
    header, first, second, cube, _hand = INSTRUMENTS
    return [
        [*header, *PLATE],
        [*first, "Voss Messtechnik", "4711", "Feldlabor Nord"],
        [*second, "", "", ""],
        [*cube, "", "", ""],
        ["Hand V", "plate with ground lead", "body voltage", "", "mV", "5", "1", "", "", "", "",
         "", "C-5", "", "2026-12-31", "Voss Messtechnik", "99", "Feldlabor Nord"],
        ["Probe E", "three-axis coil", "magnetic flux density", "3", "nT", "5", "1", "", "", "",
         "", "", "M-1", "2026-01-10", "2027-01-10", "", "4711", "Spulenlabor"],
    ]  # fmt: skip


def imported(instruments, case: str = CASE_TOML):
    files = as_files({**TABLES, "instruments.csv": instruments}, case)
    return import_case_folder(source=as_zip(files), by=None, now=timezone.now()).case


def rows_of(name: str) -> dict[str, tuple[str, str]]:
    rows = Calibration.objects.filter(instrument__name=name)
    return {row.certificate: (row.description, row.laboratory) for row in rows}


def test_each_quantity_has_its_own_description_and_each_certificate_its_laboratory():
    imported(two_sensors())
    probe = Instrument.objects.get(name="Probe E")
    assert (probe.maker, probe.serial) == ("Voss Messtechnik", "4711")
    assert rows_of("Probe E") == {
        "C-17": ("one-axis probe", "Feldlabor Nord"),
        "C-31": ("one-axis probe", ""),
        "M-1": ("three-axis coil", "Spulenlabor"),
    }


def test_it_goes_out_as_it_came_in():
    case = imported(two_sensors())
    with zipfile.ZipFile(io.BytesIO(export_case_folder(case=case))) as archive:
        text = archive.read("instruments.csv").decode("utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(text)))
    assert tuple(rows[0])[-3:] == PLATE
    shown = {
        row["certificate"]: (row["description"], *(row[name] for name in PLATE)) for row in rows
    }
    voss = "Voss Messtechnik"
    assert shown == {
        "C-17": ("one-axis probe", voss, "4711", "Feldlabor Nord"),
        "C-31": ("one-axis probe", voss, "4711", ""),
        "C-5": ("plate with ground lead", voss, "99", "Feldlabor Nord"),
        "": ("", "", "", ""),
    }


@pytest.mark.parametrize(("column", "text"), [("serial", "4712"), ("maker", "Another maker")])
def test_rows_of_one_instrument_agree_on_its_plate(column, text):
    rows = changed(two_sensors(), 3, **{column: text})
    with pytest.raises(CaseFolderRefused) as refused:
        imported(rows)
    (fault,) = refused.value.faults
    assert (fault.file, fault.row, fault.column) == ("instruments.csv", 3, column)
    assert "as in an earlier row of Probe E" in str(fault)


def test_another_instrument_of_a_known_name_is_refused():
    imported(two_sensors())
    rows = changed(changed(two_sensors(), 2, serial="5000"), 6, serial="5000")
    with pytest.raises(CaseFolderRefused) as refused:
        imported(rows, SECOND)
    assert [(fault.row, fault.column) for fault in refused.value.faults] == [
        (2, "serial"), (6, "serial"),
    ]  # fmt: skip
    assert "4711, as the register has it for Probe E" in str(refused.value.faults[0])
    Instrument.objects.update(serial="")  # nobody has entered it yet
    imported(rows, SECOND)
    assert Instrument.objects.get(name="Probe E").serial == ""


@pytest.mark.parametrize(
    ("laboratory", "is_refused"), [("Feldlabor Nord", False), ("", False), ("Elsewhere", True)]
)
def test_a_certificate_of_another_laboratory_needs_another_number(laboratory, is_refused):
    imported(two_sensors())
    rows = changed(two_sensors(), 2, laboratory=laboratory, description="in other words")
    if is_refused:
        with pytest.raises(CaseFolderRefused) as refused:
            imported(rows, SECOND)
        assert [fault.column for fault in refused.value.faults] == ["laboratory"]
        return
    imported(rows, SECOND)
    assert rows_of("Probe E")["C-17"] == ("one-axis probe", "Feldlabor Nord")
    assert Calibration.objects.filter(certificate="C-17").count() == 1


def test_a_letter_lists_what_was_used_for_each_quantity():
    case = imported(two_sensors())
    visits = list(case.visits.all())
    readings = Reading.objects.filter(visit__in=visits).select_related("calibration__instrument")
    block: Any = instruments_used(instrument_facts(readings, visits), Formats("en"))[1]
    cells = str(block)
    assert "Probe E (one-axis probe), Voss Messtechnik, no. 4711" in cells
    assert "C-17, Feldlabor Nord" in cells
    assert "Hand V (plate with ground lead), Voss Messtechnik, no. 99" in cells


def test_pages_show_them(client):
    client.force_login(UserFactory())
    imported(two_sensors())
    probe = Instrument.objects.get(name="Probe E")
    page = client.get(reverse("instrument_detail", args=[probe.pk])).content.decode()
    for words in ("Voss Messtechnik, serial number 4711", "three-axis coil", "Spulenlabor"):
        assert words in page
    address = reverse("instrument_edit", args=[probe.pk])
    form = client.get(address).context["form"]
    typed = {one.html_name: one.value() for one in form if one.value() is not None}
    assert client.post(address, typed | {"serial": "4712"}).status_code == 302
    probe.refresh_from_db()
    assert (probe.maker, probe.serial) == ("Voss Messtechnik", "4712")


def test_a_certificate_is_entered_with_its_laboratory(client):
    office = UserFactory()
    client.force_login(office)
    meter = Instrument.objects.create(name="meter")
    row = {
        "quantity": "electric field", "unit": "V/m", "gain_percent": "6", "resolution": "0.1",
        "certificate": "K-1", "description": "one axis", "laboratory": "Feldlabor Nord",
    }  # fmt: skip
    assert client.post(reverse("calibration_add", args=[meter.pk]), row).status_code == 302
    assert rows_of("meter") == {"K-1": ("one axis", "Feldlabor Nord")}
    given = {"quantity": "electric field", "unit": "V/m", "gain_percent": 6.0, "resolution": 0.1}
    other = {"certificate": "K-1", "laboratory": "Elsewhere", "calibrated_on": dt.date(2026, 5, 1)}
    with pytest.raises(
        ValidationError, match="Calibration laboratory Feldlabor Nord, and not Elsewhere"
    ):
        add_calibration(instrument=meter, by=office, **given, **other)
