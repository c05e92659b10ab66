"""Import rows per second against the database's own way in for the same rows.

`python -m tests.bench.imports sqlite|postgresql [--quick]` prints its row as JSON.
"""

import csv
import sys
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from tests.bench.databases import fresh_database
from tests.bench.timing import Row, at_least, seconds

FLOORS = {"sqlite": "executemany", "postgresql": "COPY"}
HEADER = [
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
    "unit",
    "state",
    "taken_at",
    "load",
]
CASE = """
[client]
name = "Somebody of the bench"
email = "bench@example.org"
[property]
address = "1 Long Table"
country = "DE"
supply_voltage = 230
frequency = 50
[assessment]
guideline = "SBM-2015"
"""
INSTRUMENTS = """instrument,quantity,axes,unit,gain_percent,resolution,certificate,calibrated_on
Meter G,electric field,1,V/m,10,0.1,C-1,2026-01-05
Probe M,magnetic flux density,3,nT,6,1,C-2,2026-01-05
"""
VISITS = """visit,kind,date
1,baseline,2026-03-02
2,follow-up,2026-06-08
"""


def write_folder(folder: Path, readings: Iterable[Sequence[Any]]) -> None:
    """A case folder of two visits with these rows of readings."""
    folder.mkdir()
    (folder / "case.toml").write_text(CASE)
    (folder / "instruments.csv").write_text(INSTRUMENTS)
    (folder / "visits.csv").write_text(VISITS)
    with (folder / "readings.csv").open("w", newline="") as file:
        csv.writer(file).writerows([HEADER, *readings])


def write_case(folder: Path, n: int) -> None:
    """A case of n readings: 50 rooms of 10 spots, two quantities, three ground points."""
    write_folder(folder, map(_reading, range(n)))


def _reading(at: int) -> list[Any]:
    place = [1 + at % 2, f"Room {at // 20 % 50}", f"Spot {at // 2 % 10}", "sleeping"]
    axes = [f"{(at * step) % 890 / 10 + 0.1:.1f}" for step in (7, 11, 13)]
    if at % 3:
        what = ["electric field", "ground", f"Point {at % 3}", "Meter G", *axes, "V/m"]
    else:
        what = ["magnetic flux density", "", "", "Probe M", *axes, "nT"]
    return [*place, *what, "as-used", f"{9 + at % 8:02d}:{at % 60:02d}", "fridge"]


def measure(vendor: str, folder: Path, n: int, repeats: int) -> Row:
    """Import, then bring the very same rows back in by the floor, into the same table."""
    from django.db import connection, transaction
    from django.utils import timezone

    from consult.services.guards import unguarded
    from mitigation.services.imports import import_case_folder
    from surveys.models import Reading

    assert connection.vendor == vendor
    write_case(folder / "warm-up", 200)
    import_case_folder(source=folder / "warm-up", by=None, now=timezone.now())
    write_case(folder / "case", n)
    first = Reading.objects.count()
    import_s = seconds(
        lambda: import_case_folder(source=folder / "case", by=None, now=timezone.now())
    )
    assert Reading.objects.count() == first + n

    table = Reading._meta.db_table
    columns = ", ".join(f'"{field.column}"' for field in Reading._meta.concrete_fields)
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT {columns} FROM {table} ORDER BY id")
        rows: list[Any] = cursor.fetchall()

    def floor() -> None:
        with transaction.atomic(), connection.cursor() as cursor:
            if vendor == "sqlite":
                marks = ", ".join(["%s"] * len(rows[0]))
                cursor.executemany(f"INSERT INTO {table} ({columns}) VALUES ({marks})", rows)
                return
            with cursor.copy(f"COPY {table} ({columns}) FROM STDIN") as copy:
                for row in rows:
                    copy.write_row(row)

    floor_s = float("inf")
    for _ in range(repeats):
        with transaction.atomic(), unguarded(), connection.cursor() as cursor:
            cursor.execute(f"DELETE FROM {table}")
        floor_s = min(floor_s, seconds(floor))
    assert Reading.objects.count() == len(rows)
    rate, floor_rate = n / import_s, len(rows) / floor_s
    return at_least(
        f"import: speed against {FLOORS[vendor]} ({vendor})",
        rate / floor_rate,
        0.25,
        f"{n:,} readings, {rate:,.0f} a second against {floor_rate:,.0f}",
    )


def main(vendor: str, *, quick: bool) -> None:
    with fresh_database(vendor) as folder:
        print(measure(vendor, folder, *((300, 1) if quick else (100_000, 2))).as_json())


if __name__ == "__main__":
    main(sys.argv[1], quick="--quick" in sys.argv)
