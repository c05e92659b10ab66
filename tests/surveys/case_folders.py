"""An invented case as a case folder, in every form that the format allows."""

import csv
import io
import zipfile
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path

import xlsxwriter

from surveys.intake import Upload

Cells = list[list[str]]

CASE_TOML = """\
reference = "EB-TEST-1"

[client]
name = "Käthe Möwe"
email = "kaethe@example.org"
language = "de"

[property]
address = \"\"\"
Uferweg 3
24999 Neustrand\"\"\"
country = "DE"
supply_voltage = 231.5
frequency = 50
phases = 3

[assessment]
guideline = "SBM-2015"
target = 2
placement_percent = 4.5
"""

_INSTRUMENTS_HEADER = [
    "instrument",
    "description",
    "quantity",
    "axes",
    "unit",
    "gain_percent",
    "resolution",
    "noise",
    "floor",
    "ceiling",
    "low_hz",
    "high_hz",
    "certificate",
    "calibrated_on",
    "due_on",
]
INSTRUMENTS: Cells = [
    _INSTRUMENTS_HEADER,
    ["Probe E", "one-axis probe", "electric field", "1", "V/m", "8", "0.1", "0.05", "0.3", "2000",
     "16", "2000", "C-17", "2026-01-10", "2027-01-10"],
    ["Probe E", "one-axis probe", "electric field", "1", "V/m", "7", "0.1", "", "0.3", "2000",
     "16", "2000", "C-31", "2026-05-01", "2027-05-01"],
    ["Cube B", "", "magnetic flux density", "3", "nT", "6.5", "1", "", "", "", "", "", "", "", ""],
    ["Hand V", "", "body voltage", "", "mV", "5", "1", "", "", "", "", "", "C-5", "", "2026-12-31"],
]  # fmt: skip
VISITS: Cells = [
    [
        "visit",
        "kind",
        "date",
        "assessor",
        "temperature_c",
        "humidity_percent",
        "supply_voltage",
        "note",
    ],
    ["before", "baseline", "2026-03-14", "Jo Feld", "-1.5", "48", "231", "frost outside"],
    ["after", "follow-up", "2026-06-20", "Jo Feld", "22", "55.5", "229.5", ""],
]
_READINGS_HEADER = [
    "visit",
    "room",
    "spot",
    "use",
    "quantity",
    "reference",
    "ground_point",
    "instrument",
    "x",
    "y",
    "z",
    "total",
    "unit",
    "state",
    "circuits_off",
    "taken_at",
    "set_aside",
    "body_distance_m",
    "surface_distance_m",
    "load",
    "note",
]
READINGS: Cells = [
    _READINGS_HEADER,
    ["before", "Bedroom", "bed head", "sleeping", "electric field", "ground", "radiator pipe",
     "Probe E", "30.5", "12", "<0.3", "", "V/m", "as-used", "", "21:10", "", "", "", "", "first"],
    ["before", "Bedroom", "bed head", "", "electric field", "ground", "rod", "Probe E",
     "41", "", "", "", "V/m", "", "", "21:12", "", "", "", "", "-3 dB at the window"],
    ["before", "Bedroom", "bed head", "sleeping", "electric field", "ground", "rod", "Probe E",
     "9", "4", "2", "", "V/m", "trial", "F1; F3", "21:20", "", "", "", "", ""],
    ["before", "Bedroom", "bed head", "sleeping", "electric field", "potential-free", "", "Probe E",
     "5.25", "6.5", "> 2000", "", "V/m", "as-used", "", "", "lead over the bed", "1.6", "0.15",
     "", ""],
    ["before", "Study", "desk, seat", "work", "magnetic flux density", "", "", "Cube B",
     "", "", "", "215", "nT", "as-used", "", "", "", "", "", "fridge; \"old\" heater", "=1+1"],
    ["before", "Study", "desk, seat", "work", "body voltage", "", "rod", "Hand V",
     "", "", "", "1.25", "V", "as-used", "", "", "", "", "", "", ""],
    ["after", "Bedroom", "bed head", "sleeping", "electric field", "ground", "rod", "Probe E",
     "1.5", "0.75", "<0.3", "", "V/m", "as-used", "", "09:05", "", "", "", "", ""],
    ["after", "Study", "desk, seat", "work", "magnetic flux density", "", "", "Cube B",
     "", "", "", "0.29", "mG", "as-used", "", "", "", "", "", "", ""],
]  # fmt: skip
_GROUND_CHECKS_HEADER = ["visit", "point", "other_point", "voltage_v", "outlet_test", "note"]
GROUND_CHECKS: Cells = [
    _GROUND_CHECKS_HEADER,
    ["before", "radiator pipe", "rod", "0.6", "ok", ""],
    ["after", "rod", "", "", "", "damp"],
]
TABLES: Mapping[str, Cells] = {
    "instruments.csv": INSTRUMENTS,
    "visits.csv": VISITS,
    "readings.csv": READINGS,
    "ground_checks.csv": GROUND_CHECKS,
}
_NUMBER_COLUMNS = frozenset(
    [
        "axes",
        "gain_percent",
        "resolution",
        "noise",
        "floor",
        "ceiling",
        "low_hz",
        "high_hz",
        "temperature_c",
        "humidity_percent",
        "supply_voltage",
        "x",
        "y",
        "z",
        "total",
        "body_distance_m",
        "surface_distance_m",
        "voltage_v",
    ]
)


def csv_text(rows: Cells, delimiter: str = ",", line_end: str = "\n") -> str:
    text = io.StringIO(newline="")
    csv.writer(text, delimiter=delimiter, lineterminator=line_end).writerows(rows)
    return text.getvalue()


def changed(rows: Cells, row: int, **cells: str) -> Cells:
    """The table with other cells in one row, counted as in the file (header = 1)."""
    copy = [list(line) for line in rows]
    for name, cell in cells.items():
        copy[row - 1][copy[0].index(name)] = cell
    return copy


def with_decimal_commas(rows: Cells) -> Cells:
    numeric = [place for place, name in enumerate(rows[0]) if name in _NUMBER_COLUMNS]
    return [rows[0]] + [
        [cell.replace(".", ",") if place in numeric else cell for place, cell in enumerate(row)]
        for row in rows[1:]
    ]


def as_files(
    tables: Mapping[str, Cells] = TABLES, case: str = CASE_TOML, delimiter: str = ","
) -> dict[str, bytes]:
    return {"case.toml": case.encode()} | {
        name: csv_text(rows, delimiter).encode() for name, rows in tables.items()
    }


def as_folder(path: Path, files: Mapping[str, bytes] | None = None) -> Path:
    path.mkdir()
    for name, data in (as_files() if files is None else files).items():
        (path / name).write_bytes(data)
    return path


def as_zip(files: Mapping[str, bytes] | None = None, inside: str = "") -> Upload:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in (as_files() if files is None else files).items():
            archive.writestr(inside + name, data)
    return Upload("case.zip", buffer.getvalue())


CASE_ROWS: Cells = [
    ["section", "key", "value"],
    ["", "reference", "EB-TEST-1"],
    ["client", "name", "Käthe Möwe"],
    ["client", "email", "kaethe@example.org"],
    ["client", "language", "de"],
    ["property", "address", "Uferweg 3\n24999 Neustrand"],
    ["property", "country", "DE"],
    ["property", "supply_voltage", "231.5"],
    ["property", "frequency", "50"],
    ["property", "phases", "3"],
    ["assessment", "guideline", "SBM-2015"],
    ["assessment", "target", "2"],
    ["assessment", "placement_percent", "4.5"],
]


def as_workbook(tables: Mapping[str, Cells] = TABLES, case: Cells = CASE_ROWS) -> Upload:
    """Numbers and dates as typed cells, as people enter them."""
    buffer = io.BytesIO()
    book = xlsxwriter.Workbook(buffer, {"in_memory": True, "strings_to_formulas": False})
    day = book.add_format({"num_format": "dd.mm.yyyy"})
    for name, rows in {"case": case, **tables}.items():
        sheet = book.add_worksheet(name.removesuffix(".csv"))
        for row, cells in enumerate(rows):
            for place, cell in enumerate(cells):
                title = rows[0][place] if place < len(rows[0]) else ""
                if row and title in ("date", "calibrated_on", "due_on") and cell[:2] == "20":
                    sheet.write_datetime(row, place, datetime.fromisoformat(cell), day)
                elif row and (title in _NUMBER_COLUMNS or title == "value") and is_number(cell):
                    sheet.write_number(row, place, float(cell))
                elif cell:
                    sheet.write_string(row, place, cell)
    book.close()
    return Upload("case.xlsx", buffer.getvalue())


def is_number(text: str) -> bool:
    return text.replace(".", "", 1).removeprefix("-").isdigit()
