"""The same case in every form: the rows are the same."""

import dataclasses
import datetime as dt

import numpy as np
import pytest

from surveys.intake import CheckedFolder, Source, Upload, check_case_folder
from surveys.intake.workbook import cell_text
from tests.surveys.case_folders import (
    CASE_TOML,
    READINGS,
    TABLES,
    as_files,
    as_folder,
    as_workbook,
    as_zip,
    changed,
    csv_text,
    with_decimal_commas,
)

pytestmark = pytest.mark.django_db


def read(source: Source) -> CheckedFolder:
    preview = check_case_folder(source)
    assert preview.folder is not None, preview.lines()
    return preview.folder


def comparable(folder: CheckedFolder) -> dict[str, object]:
    """All that a folder says, without the files themselves and the names of their tables."""
    readings = {
        field.name: getattr(folder.readings, field.name)
        for field in dataclasses.fields(folder.readings)
    }
    plain = {
        name: np.where(np.isnan(value), -1, value).tolist()
        if isinstance(value, np.ndarray) and value.dtype.kind == "f"
        else value.tolist()
        if isinstance(value, np.ndarray)
        else value
        for name, value in readings.items()
    }
    return {
        "case": folder.case,
        "instruments": [dataclasses.replace(row, file="") for row in folder.instruments],
        "visits": folder.visits,
        "ground_checks": folder.ground_checks,
        "readings": plain,
    }


def reencoded(**how: object) -> dict[str, bytes]:
    """Every file in another encoding, with other line ends and another separator."""
    bom = b"\xef\xbb\xbf" if how.get("bom") else b""
    files = {
        name: bom
        + csv_text(
            with_decimal_commas(rows) if how.get("decimal_comma") else rows,
            str(how.get("delimiter", ",")),
            str(how.get("line_end", "\n")),
        ).encode()
        for name, rows in TABLES.items()
    }
    toml = CASE_TOML.replace("\n", "\r\n") if how.get("line_end") == "\r\n" else CASE_TOML
    return {"case.toml": bom + toml.encode(), **files}


FORMS = {
    "byte-order mark": reencoded(bom=True),
    "Windows line ends": reencoded(line_end="\r\n"),
    "old Mac line ends": reencoded(line_end="\r"),
    "semicolons": reencoded(delimiter=";"),
    "semicolons and decimal commas": reencoded(delimiter=";", decimal_comma=True),
    "commas and decimal commas in quotes": reencoded(decimal_comma=True),
    "all at once": reencoded(bom=True, line_end="\r\n", delimiter=";", decimal_comma=True),
}


@pytest.mark.parametrize("form", FORMS)
def test_every_form_of_text_gives_the_same_rows(form):
    assert comparable(read(as_zip(FORMS[form]))) == comparable(read(as_zip()))


def test_folder_zip_and_workbook_give_the_same_rows(tmp_path):
    expected = comparable(read(as_zip()))
    assert comparable(read(as_folder(tmp_path / "folder"))) == expected
    assert comparable(read(as_zip(inside="my case/"))) == expected
    assert comparable(read(as_workbook())) == expected


def test_what_the_rows_say():
    folder = read(as_zip())
    readings = folder.readings
    assert folder.case.client_name == "Käthe Möwe"
    assert folder.case.address == "Uferweg 3\n24999 Neustrand"
    assert folder.case.supply_voltage_v == 231.5
    assert folder.case.placement_percent == 4.5
    assert readings.row_numbers.tolist() == [2, 3, 4, 5, 6, 7, 8, 9]
    assert readings.values[0].tolist()[:3] == [30.5, 12.0, 0.3]
    assert np.isnan(readings.values[0, 3])
    assert readings.marks[0].tolist() == [0, 0, -1, 0]
    assert readings.values[3, 2] == 2000.0
    assert readings.marks[3].tolist() == [0, 0, 1, 0]
    assert readings.spots == [("Bedroom", "bed head", "sleeping"), ("Study", "desk, seat", "work")]
    assert readings.circuits == ["F1", "F3"]
    assert readings.measurand[:4] == [
        "electric-field-ground",
        "electric-field-ground",
        "electric-field-ground",
        "electric-field-potential-free",
    ]
    assert readings.unit == ["V/m"] * 4 + ["nT", "V", "V/m", "mG"]
    assert folder.visits[0].temperature_c == -1.5


def test_each_reading_has_the_certificate_that_began_last_before_its_visit():
    """C-17 from 10 January for 14 March, C-31 from 1 May for 20 June; the others have one row."""
    folder = read(as_zip())
    pinned = [folder.instruments[place] for place in folder.readings.calibration]
    assert [row.certificate for row in pinned] == [
        "C-17", "C-17", "C-17", "C-17", "", "C-5", "C-31", "",
    ]  # fmt: skip


def test_a_certificate_counts_from_its_own_day_on():
    tables = dict(TABLES)
    tables["instruments.csv"] = changed(TABLES["instruments.csv"], 3, calibrated_on="2026-06-20")
    folder = read(as_zip(as_files(tables)))
    assert folder.instruments[folder.readings.calibration[6]].certificate == "C-31"
    tables["instruments.csv"] = changed(TABLES["instruments.csv"], 3, calibrated_on="2026-06-21")
    folder = read(as_zip(as_files(tables)))
    assert folder.instruments[folder.readings.calibration[6]].certificate == "C-17"


def test_an_instrument_calibrated_only_later_is_described_by_that_row():
    tables = dict(TABLES)
    tables["instruments.csv"] = [
        TABLES["instruments.csv"][0],
        *TABLES["instruments.csv"][2:],
    ]
    folder = read(as_zip(as_files(tables)))
    assert folder.instruments[folder.readings.calibration[0]].certificate == "C-31"


@pytest.mark.parametrize(
    ("spelling", "token"),
    [
        ("µT", "µT"),
        ("μT", "µT"),
        ("uT", "µT"),
        (" ut ", "µT"),
        ("MG", "mG"),
        ("nt", "nT"),
        ("[nT]", "nT"),
    ],
)
def test_units_in_any_common_spelling(spelling, token):
    tables = dict(TABLES) | {"readings.csv": changed(READINGS, 6, unit=spelling)}
    assert read(as_zip(as_files(tables))).readings.unit[4] == token


def test_blanks_of_every_kind_round_cells_make_no_difference():
    padded = [[f"\u00a0 {cell}\u2009" if cell else " " for cell in row] for row in READINGS]
    assert comparable(
        read(as_zip(as_files(dict(TABLES) | {"readings.csv": padded})))
    ) == comparable(read(as_zip()))


def test_blanks_after_a_closing_quote():
    text = csv_text(READINGS).replace('"desk, seat",', '"desk, seat"  , ')
    files = as_files() | {"readings.csv": text.encode()}
    assert comparable(read(as_zip(files))) == comparable(read(as_zip()))


def test_keywords_in_any_case():
    tables = dict(TABLES) | {
        "readings.csv": changed(
            READINGS, 5, quantity="Electric  Field", reference="Potential free", state="AS_USED"
        ),
        "visits.csv": changed(TABLES["visits.csv"], 3, kind="Follow Up"),
    }
    assert comparable(read(as_zip(as_files(tables)))) == comparable(read(as_zip()))


def test_empty_rows_keep_the_numbers_of_the_others():
    rows = [*READINGS[:3], [""] * len(READINGS[0]), [], *READINGS[3:]]
    folder = read(as_zip(as_files(dict(TABLES) | {"readings.csv": rows})))
    assert folder.readings.row_numbers.tolist() == [2, 3, 6, 7, 8, 9, 10, 11]


def test_optional_columns_and_the_ground_checks_may_be_missing():
    required = ["visit", "room", "spot", "quantity", "reference", "instrument", "total", "unit"]
    rows = [required, ["v", "Room", "bed", "body voltage", "", "M", "12", "mV"]]
    tables = {
        "instruments.csv": [
            ["instrument", "quantity", "unit", "gain_percent", "resolution"],
            ["M", "body voltage", "mV", "5", "1"],
        ],
        "visits.csv": [["visit", "kind", "date"], ["v", "baseline", "2031-01-01"]],
        "readings.csv": rows,
    }
    toml = '[client]\nname = "A"\n[property]\naddress = "B"\ncountry = "us"\n'
    folder = read(as_zip(as_files(tables, toml)))
    assert folder.readings.spots == [("Room", "bed", "other")]
    assert folder.readings.state == ["as-used"]
    assert (folder.case.country, folder.case.language) == ("US", "en")
    assert (folder.case.supply_voltage_v, folder.case.frequency_hz) == (120.0, 60.0)
    assert (folder.case.guideline, folder.case.target_band) == ("SBM-2015", 2)
    assert folder.case.placement_percent == 5.0


@pytest.mark.parametrize(
    ("cell", "text"),
    [
        (dt.datetime.fromisoformat("2026-03-14 00:00"), "2026-03-14"),  # its cell shows an hour too
        (dt.datetime.fromisoformat("2026-03-14 21:10"), "2026-03-14 21:10"),
        (dt.date(2026, 3, 14), "2026-03-14"),
        (dt.time(9, 5), "09:05"),
        (dt.time(9, 5, 7), "09:05:07"),
        (4.0, "4"),
        (0.29, "0.29"),
        (True, "true"),
    ],
)
def test_a_typed_cell_says_what_a_csv_file_would(cell, text):
    assert cell_text(cell) == text


def test_the_digest_is_that_of_the_content(tmp_path):
    digest = read(as_zip()).files.sha256
    again = as_zip(dict(reversed(as_files().items())), inside="other name/")
    with_litter = as_zip(as_files() | {"__MACOSX/._readings.csv": b"x", ".DS_Store": b"y"})
    assert read(again).files.sha256 == digest
    assert read(with_litter).files.sha256 == digest
    assert read(as_folder(tmp_path / "folder")).files.sha256 == digest
    assert read(again).files.zipped() == read(as_zip()).files.zipped()
    other = as_files() | {"case.toml": CASE_TOML.replace("231.5", "231.6").encode()}
    assert read(as_zip(other)).files.sha256 != digest


def test_a_workbook_keeps_its_digest_under_another_name():
    book = as_workbook()
    assert read(Upload("x.xlsx", book.data)).files.sha256 == read(book).files.sha256
