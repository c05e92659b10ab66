"""What is wrong in a case folder: each wrong cell by file, row and column."""

import pytest

from surveys.intake import check_case_folder
from tests.surveys.case_folders import (
    CASE_ROWS,
    CASE_TOML,
    GROUND_CHECKS,
    INSTRUMENTS,
    READINGS,
    TABLES,
    VISITS,
    Cells,
    as_files,
    as_workbook,
    as_zip,
    changed,
    csv_text,
)

pytestmark = pytest.mark.django_db


def faults_of(tables=TABLES, case=CASE_TOML, delimiter=",") -> list[str]:
    preview = check_case_folder(as_zip(as_files(tables, case, delimiter)))
    assert (preview.folder is None) == bool(preview.faults)
    return preview.lines()


def place_of(line: str) -> str:
    return line.partition(": found ")[0]


def test_the_line_of_a_fault():
    readings = changed(READINGS, 7, z="1,2.3")
    lines = faults_of(dict(TABLES) | {"readings.csv": changed(readings, 7, total="")})
    assert lines == [
        "readings.csv row 7, column z: found '1,2.3', "
        "allowed: a number with one decimal mark, not '.' and ',' together"
    ]


@pytest.mark.parametrize(
    ("row", "column", "cell"),
    [
        (2, "visit", "middle"),
        (2, "visit", ""),
        (2, "room", ""),
        (2, "spot", "  "),
        (2, "spot", "s" * 81),
        (2, "use", "dreaming"),
        (4, "use", "work"),  # the spot is for sleeping in row 2
        (2, "quantity", "electric"),
        (2, "quantity", ""),
        (2, "reference", ""),
        (2, "reference", "earth"),
        (6, "reference", "ground"),
        (2, "instrument", "Cube B"),  # known, but not for the electric field
        (2, "instrument", "Probe Z"),
        (2, "x", "-1"),
        (2, "x", "\u22121"),
        (2, "x", "-0"),
        (2, "x", "abc"),
        (2, "x", "1.2.3"),
        (2, "x", "1 200"),
        (2, "x", "1_200"),
        (2, "x", "nan"),
        (2, "x", "inf"),
        (2, "x", "1e999"),
        (2, "x", "1e200"),  # its square is no number any more
        (2, "x", "1e-200"),
        (2, "x", "0x10"),
        (2, "x", "\u0663"),  # a digit of another script
        (2, "x", "<"),
        (2, "x", "<<1"),
        (2, "x", "<0"),
        (2, "x", "1,234"),  # in a comma file: 1234 or 1.234?
        (2, "total", "5"),  # beside axes
        (6, "total", ""),  # and no axes
        (2, "unit", "nT"),
        (2, "unit", "furlong"),
        (2, "unit", ""),
        (2, "state", "maybe"),
        (2, "circuits_off", "F1; " + "c" * 81),
        (2, "taken_at", "t" * 41),
        (2, "body_distance_m", "-1"),
        (2, "surface_distance_m", "far"),
        (2, "load", "l" * 201),
        (2, "room", "bed\nroom"),
        (2, "note", "bell \x07"),
        (2, "note", "n" * 10_001),
    ],
)
def test_a_wrong_cell_of_readings(row, column, cell):
    lines = faults_of(dict(TABLES) | {"readings.csv": changed(READINGS, row, **{column: cell})})
    assert [place_of(line) for line in lines] == [f"readings.csv row {row}, column {column}"]


@pytest.mark.parametrize(
    ("row", "column", "cell"),
    [
        (2, "instrument", ""),
        (2, "quantity", "noise"),
        (2, "axes", "2"),
        (2, "unit", "mV"),
        (2, "gain_percent", ""),
        (2, "gain_percent", "-1"),
        (2, "resolution", "0"),
        (2, "resolution", ""),
        (2, "noise", "-0.1"),
        (2, "ceiling", "0.3"),  # the floor
        (2, "high_hz", "16"),  # low_hz
        (2, "calibrated_on", "10/01/2026"),
        (2, "calibrated_on", "20260110"),
        (2, "calibrated_on", "2026-02-30"),
        (3, "calibrated_on", "2026-01-10"),  # as in row 2
        (2, "due_on", "2026-01-09"),
        (2, "certificate", "c" * 81),
    ],
)
def test_a_wrong_cell_of_instruments(row, column, cell):
    table = changed(INSTRUMENTS, row, **{column: cell})
    lines = faults_of(dict(TABLES) | {"instruments.csv": table})
    place = f"instruments.csv row {row}, column {column}"
    assert place in [place_of(line) for line in lines]
    followers = [line for line in lines if "instruments.csv" not in place_of(line)]
    assert len(lines) - len(followers) == 1


@pytest.mark.parametrize(
    ("row", "column", "cell"),
    [
        (2, "kind", "middle"),
        (2, "kind", ""),
        (2, "date", ""),
        (2, "date", "tomorrow"),
        (2, "temperature_c", "cold"),
        (2, "humidity_percent", "101"),
        (2, "humidity_percent", "-1"),
        (2, "supply_voltage", "0"),
        (3, "visit", "before"),  # as row 2
    ],
)
def test_a_wrong_cell_of_visits(row, column, cell):
    lines = faults_of(dict(TABLES) | {"visits.csv": changed(VISITS, row, **{column: cell})})
    assert place_of(lines[0]) == f"visits.csv row {row}, column {column}"
    assert all("visits.csv" not in place_of(line) for line in lines[1:])


@pytest.mark.parametrize(
    ("column", "cell"),
    [
        ("visit", "middle"),
        ("point", ""),
        ("other_point", "radiator pipe"),
        ("voltage_v", "-1"),
        ("outlet_test", "good"),
    ],
)
def test_a_wrong_cell_of_ground_checks(column, cell):
    table = changed(GROUND_CHECKS, 2, **{column: cell})
    lines = faults_of(dict(TABLES) | {"ground_checks.csv": table})
    assert [place_of(line) for line in lines] == [f"ground_checks.csv row 2, column {column}"]


@pytest.mark.parametrize(
    ("old", "new", "place"),
    [
        ('"Käthe Möwe"', '""', "row 4, column client.name"),
        ('"kaethe@example.org"', '"at home"', "row 5, column client.email"),
        ('language = "de"', 'language = "fr"', "row 6, column client.language"),
        ('country = "DE"', 'country = "Germany"', "row 12, column property.country"),
        ("231.5", "0", "row 13, column property.supply_voltage"),
        ("frequency = 50", "frequency = nan", "row 14, column property.frequency"),
        ("phases = 3", "phases = 4", "row 15, column property.phases"),
        ("SBM-2015", "SBM-1066", "row 18, column assessment.guideline"),
        ("target = 2", "target = 3", "row 19, column assessment.target"),
        ("target = 2", "target = true", "row 19, column assessment.target"),
        ("4.5", "100.5", "row 20, column assessment.placement_percent"),
        ("EB-TEST-1", "E" * 41, "row 1, column reference"),
        ("phases = 3", "phase = 3", "row 15, column property.phase"),
        ("[assessment]", "[rating]", "row 17, column [rating]"),
        ("phases = 3", "phases = ", "row 15"),
        ("phases = 3", "phases = " + "9" * 5_000, ""),
        ("phases = 3", "phases = " + "[" * 5_000, ""),
        ("phases = 3", "# " + "x" * 100_000, ""),
    ],
)
def test_a_wrong_value_of_the_case(old, new, place):
    assert old in CASE_TOML
    lines = faults_of(case=CASE_TOML.replace(old, new))
    assert place_of(lines[0]) == f"case.toml {place}".strip()
    assert len(lines) == 1


def test_a_value_that_the_case_needs_is_missing():
    lines = faults_of(case='[client]\nemail = ""\n')
    assert [place_of(line) for line in lines] == [
        "case.toml, column property.country",
        "case.toml, column client.name",
        "case.toml, column property.address",
    ]


def test_a_wrong_row_of_the_sheet_case():
    rows = [[*row] for row in CASE_ROWS]
    rows[11] = ["assessment", "target", "5"]
    preview = check_case_folder(as_workbook(case=rows))
    assert [place_of(line) for line in preview.lines()] == [
        "sheet case row 12, column assessment.target"
    ]


def test_a_key_of_the_case_stands_there_once():
    """However it is written: of two values nobody knows which one was meant."""
    toml = CASE_TOML.replace("phases = 3", "phases = 3\nPhases = 1")
    assert [place_of(line) for line in faults_of(case=toml)] == [
        "case.toml row 15, column property.phases"
    ]
    (line,) = faults_of(case=toml)
    assert "each key once" in line
    book = as_workbook(case=[*CASE_ROWS, ["Assessment", "Target", "1"]])
    (line,) = check_case_folder(book).lines()
    assert "column assessment.target" in line and "each key once" in line


def test_columns_are_known_required_and_there_once():
    header = READINGS[0]
    rows = [[*header, "colour", "x"], *[[*row, "", ""] for row in READINGS[1:]]]
    rows = [[cell for place, cell in enumerate(row) if header[place : place + 1] != ["room"]]
            for row in rows]  # fmt: skip
    lines = faults_of(dict(TABLES) | {"readings.csv": rows})
    assert sorted(place_of(line) for line in lines) == [
        "readings.csv row 1, column colour",
        "readings.csv row 1, column room",
        "readings.csv row 1, column x",
    ]


def test_a_row_that_slipped_is_named_once_as_a_row():
    """An unquoted list of circuits in a semicolon file pushes the cells after it to the right."""
    text = csv_text(READINGS, ";").replace('"F1; F3"', "F1; F3")
    files = as_files(delimiter=";") | {"readings.csv": text.encode()}
    lines = check_case_folder(as_zip(files)).lines()
    assert "readings.csv row 4: found '22 cells', allowed: 21 as in the header; " in lines[0]


def test_a_cell_under_an_empty_header():
    rows = [[*VISITS[0], ""], [*VISITS[1], ""], [*VISITS[2], "stray"]]
    lines = faults_of(dict(TABLES) | {"visits.csv": rows})
    assert [place_of(line) for line in lines] == ["visits.csv row 3, column number 9"]


def test_files_are_known_and_there():
    files = as_files()
    del files["visits.csv"], files["case.toml"]
    lines = check_case_folder(as_zip(files | {"notes.txt": b"hello"})).lines()
    assert [place_of(line) for line in lines] == ["case.toml", "visits.csv", "notes.txt"]


@pytest.mark.parametrize("encoding", ["latin-1", "utf-16"])
def test_another_encoding_is_named_with_its_row(encoding):
    data = csv_text(changed(READINGS, 4, note="Küche")).encode(encoding)
    lines = check_case_folder(as_zip(as_files() | {"readings.csv": data})).lines()
    row = 4 if encoding == "latin-1" else 1
    assert [place_of(line) for line in lines] == [f"readings.csv row {row}"]
    assert "UTF-8" in lines[0]


def test_quotes_that_do_not_close():
    data = csv_text(READINGS).replace("first", '"first').encode()
    lines = check_case_folder(as_zip(as_files() | {"readings.csv": data})).lines()
    assert [place_of(line) for line in lines] == ["readings.csv row 2"]


def test_wrong_everywhere_is_counted_and_not_listed_without_end():
    rows: Cells = [READINGS[0], *[changed(READINGS, 2, x="much")[1]] * 5_000]
    preview = check_case_folder(
        as_zip(as_files(dict(TABLES) | {"readings.csv": rows, "ground_checks.csv": GROUND_CHECKS}))
    )
    assert preview.n_faults == 5_000
    assert len(preview.faults) == 200
    assert preview.lines()[-1] == "... and 4800 more wrong cells"


def test_too_many_rows():
    rows: Cells = [VISITS[0], *[[f"v{n}", *VISITS[1][1:]] for n in range(501)]]
    lines = faults_of(dict(TABLES) | {"visits.csv": rows})
    assert lines[0] == "visits.csv: found '501 rows', allowed: at most 500 rows"


def test_in_semicolon_files_both_decimal_marks_hold_but_not_in_one_cell():
    good = dict(TABLES) | {"readings.csv": changed(READINGS, 2, x="30,5", y="12.0")}
    assert faults_of(good, delimiter=";") == []
    thousands = dict(TABLES) | {"readings.csv": changed(READINGS, 2, x="1,234")}
    assert faults_of(thousands, delimiter=";") == []
    both = dict(TABLES) | {"readings.csv": changed(READINGS, 2, x="1.234,5")}
    assert [place_of(line) for line in faults_of(both, delimiter=";")] == [
        "readings.csv row 2, column x"
    ]


def test_a_name_in_case_toml_is_one_line():
    case = CASE_TOML.replace('"Käthe Möwe"', '"Käthe\\nMöwe"')
    assert faults_of(case=case) == [
        "case.toml row 4, column client.name: found 'Käthe\\nMöwe', allowed: one line of text"
    ]
