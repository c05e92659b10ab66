"""A case goes out as a folder and comes in again with the same numbers."""

import csv
import datetime as dt
import io
import zipfile
from pathlib import Path

import pytest
import python_calamine
import xlsxwriter
from django.core.exceptions import ValidationError
from django.core.management import CommandError, call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from mitigation.comparison import compare
from mitigation.models import Case
from mitigation.services.exports import export_case_folder, export_case_workbook
from mitigation.services.imports import import_case_folder
from surveys.intake import CaseFolderRefused, Upload, check_case_folder
from surveys.intake.cells import SMALLEST
from surveys.intake.tables import cleaned, looks_like_formula
from surveys.intake.template import write_template
from surveys.intake.writing import guarded
from surveys.models import Calibration, GroundCheck, Reading, Visit
from tests.factories import as_if_so_from_the_start
from tests.surveys.case_folders import (
    CASE_ROWS,
    READINGS,
    TABLES,
    as_files,
    as_workbook,
    as_zip,
    changed,
    is_number,
)

pytestmark = pytest.mark.django_db

NOW = dt.datetime(2026, 7, 1, 9, 30, tzinfo=dt.UTC)
_READING = [
    "visit__label", "position", "spot__room__name", "spot__name", "spot__use", "measurand",
    "ground_point__name", "instrument__name", "x", "x_mark", "y", "y_mark", "z", "z_mark",
    "total", "total_mark", "unit", "state", "circuits_off", "taken_at_text", "set_aside",
    "body_distance_m", "surface_distance_m", "load", "note", "calibration__unit",
    "calibration__gain_percent", "calibration__resolution", "calibration__noise",
    "calibration__floor", "calibration__ceiling", "calibration__certificate",
    "calibration__calibrated_on", "calibration__due_on", "calibration__axes",
    "calibration__low_hz", "calibration__high_hz",
    "calibration__description", "calibration__laboratory", "instrument__maker",
    "instrument__serial",
]  # fmt: skip
_VISIT = [
    "label", "kind", "date", "position", "assessor", "temperature_c", "humidity_percent",
    "supply_voltage_v", "note",
]  # fmt: skip
_CHECK = [
    "visit__label", "point__name", "other_point__name", "voltage_v", "outlet_test", "note",
]  # fmt: skip
_HEAD = [
    "target_band", "placement_percent", "guideline__code", "property__address",
    "property__country", "property__supply_voltage_v", "property__frequency_hz",
    "property__phases", "property__client__name", "property__client__email",
    "property__client__language",
]  # fmt: skip


def bring_in(source: Upload) -> Case:
    return import_case_folder(source=source, by=None, now=NOW).case


def everything(case: Case) -> dict[str, object]:
    """All that a case folder says, from the rows of a case."""
    checks = GroundCheck.objects.filter(visit__cases=case).order_by("pk")
    readings = Reading.objects.filter(visit__cases=case).order_by("position")
    return {
        "head": Case.objects.filter(pk=case.pk).values(*_HEAD).get(),
        "visits": list(case.visits.order_by("position").values(*_VISIT)),
        "readings": list(readings.values(*_READING)),
        "checks": list(checks.values(*_CHECK)),
    }


def files_in(data: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def again(case: Case) -> Case:
    """The case that its export makes under another reference."""
    files = files_in(export_case_folder(case=case))
    files["case.toml"] = files["case.toml"].replace(case.reference.encode(), b"EB-AGAIN")
    return bring_in(as_zip(files))


def test_a_case_comes_in_again_with_the_same_rows_and_the_same_outcome():
    case = bring_in(as_zip())
    copy = again(case)
    assert everything(copy) == everything(case)
    outcome, copied = compare(case).as_json(), compare(copy).as_json()
    assert len(outcome["spots"]) == 3  # the potential-free reading is set aside
    assert copied | {"case": ""} == outcome | {"case": ""}


def test_a_copy_of_a_copy_is_the_same_bytes():
    case = bring_in(as_zip())
    first = files_in(export_case_folder(case=case))
    second = files_in(export_case_folder(case=again(case)))
    second["case.toml"] = second["case.toml"].replace(b"EB-AGAIN", b"EB-TEST-1")
    assert second == first


def test_the_workbook_comes_in_again_too():
    case = bring_in(as_zip())
    expected = everything(case)
    data = export_case_workbook(case=case)
    case.reference = "EB-OTHER"
    case.save()
    assert everything(bring_in(Upload("case.xlsx", data))) == expected


def test_no_cell_that_goes_out_is_a_formula():
    """Instruments may bear any name, and notes are anybody's words."""
    tables = {
        name: [[cell.replace("Cube B", "@Cube") for cell in row] for row in rows]
        for name, rows in TABLES.items()
    }
    tables["readings.csv"] = changed(
        tables["readings.csv"], 2, load="+49 heater", note='=HYPERLINK("x")', set_aside="'-quoted"
    )
    case = bring_in(as_zip(as_files(tables)))
    assert Reading.objects.filter(set_aside="-quoted", note='=HYPERLINK("x")').exists()
    texts = []
    for name, data in files_in(export_case_folder(case=case)).items():
        if name.endswith(".csv"):
            rows = csv.reader(io.StringIO(data.decode(), newline=""))
            texts += [cell for row in rows for cell in row]
    book = python_calamine.load_workbook(io.BytesIO(export_case_workbook(case=case)))
    for sheet in book.sheet_names:
        rows_of = book.get_sheet_by_name(sheet).to_python()
        texts += [cell for row in rows_of for cell in row if isinstance(cell, str)]
    starts = [text for text in texts if text[:1] in ("=", "+", "-", "@", "\t", "\r", "\0")]
    assert starts == ["-1.5"]  # the temperature: a number stays a number
    assert everything(again(case)) == everything(case)


@settings(deadline=None, derandomize=True)
@given(st.text(st.sampled_from("'=+-@\t\r\0 ab"), max_size=6))
def test_a_guarded_text_is_no_formula_and_comes_back(text):
    written = guarded(text)
    assert isinstance(written, str)
    assert written[:1] not in ("=", "+", "-", "@", "\t", "\r", "\0") or not written
    if text == text.strip():
        assert cleaned(written) == text
    assert looks_like_formula(written) == looks_like_formula(text)


_values = st.just(0.0) | st.floats(min_value=SMALLEST, max_value=1e9)
_words = st.text(
    st.characters(codec="utf-8", exclude_categories=("C", "Z")), min_size=1, max_size=12
)


@settings(
    suppress_health_check=[HealthCheck.function_scoped_fixture],
    max_examples=25,
    deadline=None,
    derandomize=True,
)
@given(rows=st.lists(st.tuples(_values, st.sampled_from(["", "<", ">"]), _words), max_size=8))
def test_any_number_and_any_word_survives(rows):
    """Also what no spreadsheet would show in full: 0.1 + 0.2, 1e-12, words of any script."""
    table = [READINGS[0]]
    for value, mark, word in rows:
        mark = "" if value == 0 else mark
        table.append(changed(READINGS, 6, total=f"{mark}{value!r}", note=word, spot=word)[5])
    files = as_files(dict(TABLES) | {"readings.csv": table})
    files["case.toml"] = files["case.toml"].replace(b"EB-TEST-1", b"")
    number = Case.objects.count()  # makes the bytes of each example its own
    files["case.toml"] += f"# {number}\n".encode()
    case = bring_in(as_zip(files))
    stored = Reading.objects.filter(visit__cases=case).order_by("position")
    assert [row.total for row in stored] == [value for value, _, _ in rows]
    exported = files_in(export_case_folder(case=case))
    exported["case.toml"] = exported["case.toml"].replace(
        case.reference.encode(), f"copy of {case.reference}".encode()
    )
    assert everything(bring_in(as_zip(exported))) == everything(case)


def test_an_export_costs_the_same_queries_for_any_case():
    counts = []
    for n in (1, 50):
        rows = [READINGS[0], *[changed(READINGS, 2, spot=f"spot {at}")[1] for at in range(n)]]
        files = as_files(dict(TABLES) | {"readings.csv": rows})
        files["case.toml"] = files["case.toml"].replace(b"EB-TEST-1", f"EB-N-{n}".encode())
        case = Case.objects.get(pk=bring_in(as_zip(files)).pk)
        with CaptureQueriesContext(connection) as queries:
            export_case_folder(case=case)
        counts.append(len(queries))
    assert counts[0] == counts[1] < 14


@pytest.mark.parametrize("written", ["*", "*;", "*; *"])
def test_the_main_switch_goes_out_as_no_circuit(written):
    tables = dict(TABLES) | {"readings.csv": changed(READINGS, 4, circuits_off=written)}
    tables["circuits.csv"] = [["circuit", "panel"], ["F1", "Hall"]]
    tables["readings.csv"] = [
        [cell.replace("F3", "F1") for cell in row] for row in tables["readings.csv"]
    ]
    case = bring_in(as_zip(as_files(tables)))
    assert Reading.objects.get(state="trial").circuits_off.strip(" ;*") == ""
    circuits = files_in(export_case_folder(case=case))["circuits.csv"].decode().split()
    assert [row.partition(",")[0] for row in circuits] == ["circuit", "F1"]


def test_two_visits_of_one_name_go_out_under_two():
    case = bring_in(as_zip())
    as_if_so_from_the_start(Visit.objects.filter(cases=case), label="visit")
    files = files_in(export_case_folder(case=case))
    assert b"visit,baseline" in files["visits.csv"]
    assert b"visit (2),follow-up" in files["visits.csv"]


def test_a_visit_that_is_not_sealed_stays_at_home():
    """Nobody vouches for it yet, and a folder knows no open visit: it would come in as sealed."""
    case = bring_in(as_zip())
    whole = files_in(export_case_folder(case=case))
    assert b"after,follow-up" in whole["visits.csv"]
    as_if_so_from_the_start(Visit.objects.filter(cases=case, kind="follow-up"), sealed_at=None)
    files = files_in(export_case_folder(case=case))
    assert b"after" not in files["visits.csv"] and b"before,baseline" in files["visits.csv"]
    assert not [row for row in files["readings.csv"].splitlines() if row.startswith(b"after")]
    assert b"damp" not in files["ground_checks.csv"] and b"damp" in whole["ground_checks.csv"]


def test_a_reading_of_an_unknown_instrument_can_not_go_out():
    case = bring_in(as_zip())
    as_if_so_from_the_start(Reading.objects.filter(visit__cases=case), calibration=None)
    with pytest.raises(ValidationError, match="EB-TEST-1"):
        export_case_folder(case=case)


@pytest.mark.parametrize("day", ["2026-01-10", "2026-03-01"])
def test_a_certificate_that_the_dates_would_not_choose_can_not_go_out(day):
    """C-31 dated back: for the visit of 14 March the folder would now choose it over C-17."""
    case = bring_in(as_zip())
    Calibration.objects.filter(certificate="C-31").update(calibrated_on=day)
    with pytest.raises(ValidationError, match="certificate"):
        export_case_folder(case=case)


@pytest.mark.parametrize("name", ["out", "out.zip", "out.xlsx"])
def test_the_command_writes_every_form(name, tmp_path):
    case = bring_in(as_zip())
    expected = everything(case)
    path: Path = tmp_path / name
    call_command("export_case", "EB-TEST-1", str(path), stdout=io.StringIO())
    case.reference = "EB-OTHER"
    case.save()
    assert everything(import_case_folder(source=path, by=None, now=NOW).case) == expected
    with pytest.raises(CommandError, match="already"):
        call_command("export_case", "EB-OTHER", str(path))


def test_the_command_needs_a_case(tmp_path):
    with pytest.raises(CommandError, match="no case"):
        call_command("export_case", "EB-0", str(tmp_path / "out"))


def test_an_export_into_the_same_practice_is_known_by_its_reference():
    case = bring_in(as_zip())
    with pytest.raises(CaseFolderRefused, match="no case has yet"):
        bring_in(Upload("case.zip", export_case_folder(case=case)))


def filled_in(template: bytes) -> Upload:
    """The template as a person fills it in: its own sheets and headers, our cells below."""
    book = python_calamine.load_workbook(io.BytesIO(template))
    ours = {"case": CASE_ROWS, **{name[:-4]: rows for name, rows in TABLES.items()}}
    buffer = io.BytesIO()
    out = xlsxwriter.Workbook(buffer, {"in_memory": True, "strings_to_formulas": False})
    for name in book.sheet_names:
        sheet = out.add_worksheet(name)
        for at, row in enumerate(book.get_sheet_by_name(name).to_python(skip_empty_area=False)):
            sheet.write_row(at, 0, row)
        header = book.get_sheet_by_name(name).to_python()[0]
        for at, cells in enumerate(ours.get(name, [])[1:], start=1):
            for title, cell in zip(ours[name][0], cells, strict=True):
                value = float(cell) if is_number(cell) else cell
                sheet.write(at, header.index(title), value)
    out.close()
    return Upload("template.xlsx", buffer.getvalue())


def test_the_template_filled_in_is_imported():
    expected = everything(bring_in(as_workbook()))
    Case.objects.update(reference="EB-OTHER")
    assert everything(bring_in(filled_in(write_template()))) == expected


def test_the_empty_template_says_what_is_missing():
    lines = check_case_folder(Upload("template.xlsx", write_template())).lines()
    assert [line.partition(":")[0] for line in lines] == [
        "sheet case row 3, column client.name",
        "sheet case row 6, column property.address",
        "sheet case row 7, column property.country",
    ]


def test_the_template_explains_and_offers_lists(tmp_path):
    path = tmp_path / "template.xlsx"
    call_command("case_template", str(path), stdout=io.StringIO())
    book = python_calamine.load_workbook(path)
    assert book.sheet_names == [
        "explanations", "case", "instruments", "visits", "readings", "ground_checks", "circuits",
        "appliances", "remedies",
    ]  # fmt: skip
    rows = book.get_sheet_by_name("explanations").to_python()
    explained = {(row[0], row[1]) for row in rows}
    assert ("readings", "set_aside") in explained
    assert ("case", "assessment.guideline") in explained
    with zipfile.ZipFile(path) as parts:
        readings = parts.read("xl/worksheets/sheet5.xml").decode()
        case = parts.read("xl/worksheets/sheet2.xml").decode()
    assert '<formula1>"electric field,body voltage,magnetic flux density"</formula1>' in readings
    assert "<formula1>visits!$A$2:$A$200</formula1>" in readings
    assert "SBM-2015" in case
    assert "<f>" not in readings + case
