"""A case folder becomes a case: all or nothing, and the same bytes once."""

import datetime as dt
import threading
import zipfile
from collections.abc import Callable

import pytest
from django.apps import apps
from django.core.files.storage import default_storage
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext

from consult.models import Assignment, Client, Property
from consult.services.stored_files import open_stored
from mitigation.models import Case, Stage
from mitigation.services.imports import import_case_folder
from surveys.intake import CaseFolderRefused, Source, Upload
from surveys.models import (
    Calibration,
    Circuit,
    GroundCheck,
    GroundPoint,
    Instrument,
    Reading,
    SourceFile,
    Spot,
    Visit,
)
from surveys.services import imports as survey_imports
from tests.factories import UserFactory
from tests.surveys.case_folders import (
    CASE_TOML,
    READINGS,
    TABLES,
    VISITS,
    as_files,
    as_folder,
    as_workbook,
    as_zip,
    changed,
)

NOW = dt.datetime(2026, 7, 1, 9, 30, tzinfo=dt.UTC)
NO_REFERENCE = CASE_TOML.replace('reference = "EB-TEST-1"\n', "")


def bring_in(source: Source, by=None, now: dt.datetime = NOW):
    return import_case_folder(source=source, by=by, now=now)


def row_counts() -> dict[str, int]:
    return {model._meta.label: model._default_manager.count() for model in apps.get_models()}


def kept_files() -> list[str]:
    if not default_storage.exists("imports"):
        return []
    return default_storage.listdir("imports")[1]


@pytest.mark.django_db
def test_what_is_stored():
    result = bring_in(as_zip())
    case = result.case
    assert result.created
    assert case.reference == "EB-TEST-1"
    assert (case.stage, case.target_band, case.placement_percent) == (Stage.PROOF, 2, 4.5)
    assert case.guideline.code == "SBM-2015"
    assert case.opened_at == case.stage_since == NOW
    home = case.property
    assert (home.country, home.supply_voltage_v, home.frequency_hz, home.phases) == (
        "DE", 231.5, 50.0, 3,
    )  # fmt: skip
    assert home.address == "Uferweg 3\n24999 Neustrand"
    assert (home.client.name, home.client.language) == ("Käthe Möwe", "de")
    visits = list(case.visits.order_by("position"))
    assert [(visit.label, visit.kind, visit.position) for visit in visits] == [
        ("before", "baseline", 0),
        ("after", "follow-up", 1),
    ]
    assert all(visit.sealed_at == NOW and visit.source == case.source for visit in visits)
    assert visits[0].temperature_c == -1.5
    assert [spot.use for spot in Spot.objects.all()] == ["sleeping", "work"]
    assert {point.name for point in GroundPoint.objects.all()} == {"radiator pipe", "rod"}
    assert {circuit.name for circuit in Circuit.objects.all()} == {"F1", "F3"}
    first, second = GroundCheck.objects.order_by("pk")
    assert (first.point.name, first.other_point and first.other_point.name) == (
        "radiator pipe",
        "rod",
    )
    assert (first.voltage_v, first.outlet_test) == (0.6, "ok")
    assert (second.voltage_v, second.outlet_test, second.note) == (None, "not tested", "damp")


@pytest.mark.django_db
def test_a_reading_is_stored_as_it_was_read_and_leads_back_to_its_row():
    case = bring_in(as_zip()).case
    rows = list(Reading.objects.filter(visit__cases=case).order_by("position"))
    assert [row.position for row in rows] == [2, 3, 4, 5, 6, 7, 8, 9]
    first = rows[0]
    assert (first.x, first.y, first.z, first.total) == (30.5, 12.0, 0.3, None)
    assert (first.x_mark, first.z_mark, first.unit) == ("", "<", "V/m")
    assert first.ground_point and first.ground_point.name == "radiator pipe"
    assert first.taken_at_text == "21:10"
    assert rows[1].note == "-3 dB at the window"
    assert (rows[2].state, rows[2].circuits_off) == ("trial", "F1; F3")
    assert (rows[3].z, rows[3].z_mark, rows[3].set_aside) == (2000.0, ">", "lead over the bed")
    assert (rows[3].body_distance_m, rows[3].surface_distance_m) == (1.6, 0.15)
    assert rows[4].load == 'fridge; "old" heater'
    assert (rows[7].total, rows[7].unit) == (0.29, "mG")
    assert [row.calibration.certificate for row in rows if row.calibration] == [
        "C-17", "C-17", "C-17", "C-17", "", "C-5", "C-31", "",
    ]  # fmt: skip
    assert all(row.calibration and row.calibration.instrument == row.instrument for row in rows)
    uncertified = rows[4].calibration
    assert uncertified is not None and not uncertified.is_certified


@pytest.mark.django_db
@pytest.mark.parametrize("form", ["folder", "zip", "workbook"])
def test_every_form_is_imported_and_kept(form, tmp_path):
    workbook = as_workbook()
    sources: dict[str, Callable[[], Source]] = {
        "folder": lambda: as_folder(tmp_path / "case"),
        "zip": as_zip,
        "workbook": lambda: workbook,
    }
    case = bring_in(sources[form]()).case
    assert Reading.objects.filter(visit__cases=case).count() == 8
    source = case.source
    assert source is not None
    assert source.stored.key == f"imports/{source.sha256}.zip"
    with open_stored(source.stored) as file, zipfile.ZipFile(file) as archive:
        kept = {name: archive.read(name) for name in archive.namelist()}
    assert kept == ({"case.xlsx": workbook.data} if form == "workbook" else as_files())


@pytest.mark.django_db
def test_the_same_bytes_again_change_nothing(tmp_path):
    first = bring_in(as_zip())
    before = row_counts()
    again = bring_in(as_folder(tmp_path / "again"))
    assert (again.case, again.created) == (first.case, False)
    assert row_counts() == before
    assert len(kept_files()) == 1


@pytest.mark.django_db
def test_the_same_bytes_without_a_reference_are_the_same_case_too():
    source = as_zip(as_files(case=NO_REFERENCE))
    first, again = bring_in(source), bring_in(source)
    assert first.case.reference == "EB-2026-0001"
    assert (again.case, again.created) == (first.case, False)


@pytest.mark.django_db
def test_other_content_under_a_known_reference_is_refused():
    bring_in(as_zip())
    before = row_counts()
    other = as_zip(as_files(dict(TABLES) | {"readings.csv": changed(READINGS, 2, x="31")}))
    with pytest.raises(CaseFolderRefused, match="no case has yet"):
        bring_in(other)
    assert row_counts() == before
    assert len(kept_files()) == 1


@pytest.mark.django_db
def test_the_next_free_reference_follows_the_highest_of_the_year():
    bring_in(as_zip(as_files(case=CASE_TOML.replace("EB-TEST-1", "EB-2026-0041"))))
    bring_in(as_zip(as_files(case=CASE_TOML.replace("EB-TEST-1", "EB-2026-0050b"))))
    bring_in(as_zip(as_files(case=CASE_TOML.replace("EB-TEST-1", "EB-2025-0099"))))
    assert bring_in(as_zip(as_files(case=NO_REFERENCE))).case.reference == "EB-2026-0042"


A_DOZEN_FAULTS = {
    "case.toml": CASE_TOML.replace("target = 2", "target = 4").encode(),
    **{
        name: data
        for name, data in as_files(
            {
                "instruments.csv": changed(
                    changed(TABLES["instruments.csv"], 2, resolution="0"), 5, unit="nT"
                ),
                "visits.csv": changed(
                    changed(VISITS, 2, humidity_percent="148"), 3, date="06/07/2026"
                ),
                "readings.csv": changed(
                    changed(
                        changed(
                            changed(changed(READINGS, 2, visit="middle", x="-3"), 3, reference=""),
                            4,
                            state="perhaps",
                        ),
                        5,
                        total="9",
                    ),
                    6,
                    instrument="Cube C",
                    unit="gauss",
                ),
                "ground_checks.csv": changed(
                    TABLES["ground_checks.csv"], 2, outlet_test="fine", voltage_v="-1"
                ),
            }
        ).items()
        if name != "case.toml"
    },
}
PLACES = [
    "case.toml row 19, column assessment.target",
    "instruments.csv row 2, column resolution",
    "instruments.csv row 5, column unit",
    "visits.csv row 2, column humidity_percent",
    "visits.csv row 3, column date",
    "readings.csv row 2, column visit",
    "readings.csv row 2, column x",
    "readings.csv row 3, column reference",
    "readings.csv row 4, column state",
    "readings.csv row 5, column total",
    "readings.csv row 6, column instrument",
    "readings.csv row 6, column unit",
    "ground_checks.csv row 2, column voltage_v",
    "ground_checks.csv row 2, column outlet_test",
]


@pytest.mark.django_db
def test_a_dozen_faults_are_all_named_and_nothing_is_stored(tmp_path, capsys):
    before = row_counts()
    folder = as_folder(tmp_path / "case", A_DOZEN_FAULTS)
    with pytest.raises(SystemExit) as stopped:
        call_command("import_case", str(folder))
    printed = capsys.readouterr()
    assert stopped.value.code == 1
    assert printed.out == ""
    assert sorted(line.partition(": found")[0] for line in printed.err.splitlines()) == sorted(
        PLACES
    )
    assert row_counts() == before
    assert kept_files() == []


@pytest.mark.django_db
def test_the_command_prints_the_reference_and_nothing_else(tmp_path, capsys):
    folder = as_folder(tmp_path / "case")
    for _ in range(2):
        call_command("import_case", str(folder))
        assert capsys.readouterr().out == "EB-TEST-1\n"
    assert Case.objects.count() == 1


@pytest.mark.django_db
def test_a_failure_half_way_leaves_neither_rows_nor_the_file(monkeypatch):
    before = row_counts()

    def fail(**kwargs: object) -> None:
        raise OSError("no space left on device")

    monkeypatch.setattr(survey_imports, "insert_columns", fail)
    with pytest.raises(OSError, match="no space"):
        bring_in(as_zip())
    assert row_counts() == before
    assert kept_files() == []
    monkeypatch.undo()
    assert bring_in(as_zip()).created


@pytest.mark.django_db
def test_instruments_are_known_by_name_and_certificates_by_content():
    bring_in(as_zip())
    assert (Instrument.objects.count(), Calibration.objects.count()) == (3, 4)
    other_case = CASE_TOML.replace("EB-TEST-1", "EB-TEST-2")
    bring_in(as_zip(as_files(case=other_case)))
    assert (Instrument.objects.count(), Calibration.objects.count()) == (3, 4)
    tables = dict(TABLES) | {
        "instruments.csv": changed(
            TABLES["instruments.csv"], 2, gain_percent="9", certificate="C-18"
        )
    }
    third = bring_in(as_zip(as_files(tables, CASE_TOML.replace("EB-TEST-1", "EB-TEST-3")))).case
    assert (Instrument.objects.count(), Calibration.objects.count()) == (3, 5)
    reading = Reading.objects.filter(visit__cases=third).order_by("position")[0]
    assert reading.calibration and reading.calibration.gain_percent == 9.0


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("rows", "stage"),
    [(VISITS, Stage.PROOF), (VISITS[:2], Stage.FINDINGS), (VISITS[:1], Stage.ENQUIRY)],
)
def test_where_the_case_stands(rows, stage):
    names = [row[0] for row in rows[1:]]
    tables = {
        "instruments.csv": TABLES["instruments.csv"],
        "visits.csv": rows,
        "readings.csv": [READINGS[0], *[row for row in READINGS[1:] if row[0] in names]],
    }
    assert bring_in(as_zip(as_files(tables))).case.stage == stage


@pytest.mark.django_db
def test_who_brought_it_stands_in_the_history_and_an_assessor_may_go_on_with_it():
    assessor = UserFactory(role="assessor")
    case = bring_in(as_zip(), by=assessor).case
    assert case.history.get().history_user_id == assessor.pk
    assert case.property.history.get().history_user_id == assessor.pk
    assert case.source and case.source.received_by == assessor
    assert Assignment.objects.get().user == assessor
    assert Case.objects.visible_to(assessor).get() == case


@pytest.mark.django_db
def test_a_visit_may_lie_in_the_future():
    tables = dict(TABLES) | {"visits.csv": changed(VISITS, 3, date="2031-01-01")}
    case = bring_in(as_zip(as_files(tables))).case
    assert case.visits.filter(date=dt.date(2031, 1, 1)).exists()


def many_readings(n: int) -> Upload:
    """n readings of the first row, each with another value, at both visits."""
    rows = [READINGS[0]]
    for at in range(n):
        row = list(READINGS[1 + at % 2])
        row[0] = ("before", "after")[at % 2]
        row[8] = f"{1 + at / 1000:.3f}"
        rows.append(row)
    reference = CASE_TOML.replace("EB-TEST-1", f"EB-MANY-{n}")
    return as_zip(as_files(dict(TABLES) | {"readings.csv": rows}, reference))


@pytest.mark.django_db
def test_a_hundred_thousand_readings_in_one_go():
    case = bring_in(many_readings(100_000)).case
    readings = Reading.objects.filter(visit__cases=case)
    assert readings.count() == 100_000
    assert readings.get(position=100_001).x == 100.999
    assert readings.get(position=2).x == 1.0


@pytest.mark.django_db
def test_more_readings_cost_no_more_queries():
    bring_in(many_readings(3))
    counts = []
    for n in (4, 400):
        with CaptureQueriesContext(connection) as queries:
            bring_in(many_readings(n))
        counts.append(len(queries))
    assert counts[0] == counts[1]


def at_once(*sources: Source) -> list[object]:
    """Import in as many threads as sources; what each of them got or raised."""
    together = threading.Barrier(len(sources))
    results: list[object] = [None] * len(sources)

    def work(place: int, source: Source) -> None:
        try:
            together.wait()
            results[place] = bring_in(source)
        except Exception as error:
            results[place] = error
        finally:
            connection.close()

    threads = [threading.Thread(target=work, args=each) for each in enumerate(sources)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return results


@pytest.mark.django_db(transaction=True)
def test_the_same_bytes_twice_at_the_same_time_are_one_case():
    results = at_once(*[as_zip() for _ in range(4)])
    assert sorted(str(getattr(result, "created", repr(result))) for result in results) == [
        "False", "False", "False", "True",
    ]  # fmt: skip
    assert Case.objects.count() == SourceFile.objects.count() == Client.objects.count() == 1
    assert Visit.objects.count() == 2
    assert Property.objects.count() == 1
    assert len(kept_files()) == 1


@pytest.mark.django_db(transaction=True)
def test_two_cases_at_the_same_time_get_two_references():
    files = [as_files(case=NO_REFERENCE.replace("231.5", f"23{n}.5")) for n in range(4)]
    results = at_once(*map(as_zip, files))
    assert all(getattr(result, "created", False) for result in results), results
    assert sorted(Case.objects.values_list("reference", flat=True)) == [
        "EB-2026-0001", "EB-2026-0002", "EB-2026-0003", "EB-2026-0004",
    ]  # fmt: skip
    assert Instrument.objects.count() == 3


@pytest.mark.django_db(transaction=True)
def test_of_two_contents_under_one_reference_at_the_same_time_one_is_refused():
    other = as_files(case=CASE_TOML.replace("231.5", "232.5"))
    results = at_once(as_zip(), as_zip(other))
    refused = [result for result in results if isinstance(result, CaseFolderRefused)]
    assert len(refused) == 1, results
    assert Case.objects.count() == 1
    assert len(kept_files()) == 1
