"""Published field values, read by the same intake as a survey and put into the guideline's bands.

Sources stand in each row of fixtures/published. Where a source does not say how the electric field
was referenced, it is taken as potential-free. Expected bands: exact decimals against the table of
the Standard of Building Biology Testing Methods, SBM-2015, seen; single ones by hand below.
"""

import csv
from decimal import Decimal

import pytest
from django.utils import timezone

from mitigation.services.imports import import_case_folder
from surveys.models import Spot
from surveys.results import visit_results
from tests.project.files import ROOT

pytestmark = pytest.mark.django_db

PUBLISHED = ROOT / "fixtures" / "published"
COLUMNS = ["source", "item", "statistic", "quantity", "reference", "value", "unit"]
BOUNDS = {
    "electric-field-potential-free": ("0.3", "1.5", "10"),  # V/m
    "magnetic-flux-density": ("20", "100", "500"),  # nT
}
EXACT = {"V/m": "1", "kV/m": "1000", "nT": "1", "µT": "1000", "mG": "100"}
CASE = """
[client]
name = "Published values"
[property]
address = "In the literature"
country = "CH"
[assessment]
guideline = "SBM-2015"
"""
INSTRUMENTS = """instrument,quantity,unit,gain_percent,resolution
as published,electric field,V/m,0,0.001
as published,magnetic flux density,nT,0,0.001
"""
READING_COLUMNS = [
    "visit", "room", "spot", "quantity", "reference", "instrument", "total", "unit",
]  # fmt: skip


def published():
    """(table, row) of every published value."""
    for path in sorted(PUBLISHED.glob("*.csv")):
        with path.open(encoding="utf-8", newline="") as file:
            reader = csv.DictReader(file)
            assert reader.fieldnames == COLUMNS
            for row in reader:
                yield path.stem, row


def spot_name(row) -> str:
    return f"{row['item']}: {row['statistic']}"


def exact_band(measurand: str, row) -> int:
    """band-1 by decimals: a value on an inner bound belongs above, on the outer one below it."""
    value = Decimal(row["value"]) * Decimal(EXACT[row["unit"]])
    first, second, third = (Decimal(bound) for bound in BOUNDS[measurand])
    return 1 + (value >= first) + (value >= second) + (value > third)


@pytest.fixture
def findings(tmp_path):
    """All published values through a case folder, by (table, spot, measurand)."""
    folder = tmp_path / "published"
    folder.mkdir()
    (folder / "case.toml").write_text(CASE)
    (folder / "instruments.csv").write_text(INSTRUMENTS)
    (folder / "visits.csv").write_text("visit,kind,date\nliterature,baseline,2026-01-15\n")
    with (folder / "readings.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(READING_COLUMNS)
        for table, row in published():
            reference = row["reference"]
            if row["quantity"] == "electric field":
                reference = reference or "potential-free"
            writer.writerow(
                ["literature", table, spot_name(row), row["quantity"], reference, "as published",
                 row["value"], row["unit"]]
            )  # fmt: skip
    case = import_case_folder(source=folder, by=None, now=timezone.now()).case
    results = visit_results(list(case.visits.all()), guideline=case.guideline, placement=0.05)
    spots = {spot.pk: spot for spot in Spot.objects.select_related("room")}
    return {
        (spots[spot].room.name, spots[spot].name, measurand): finding
        for (_visit, spot, measurand), finding in results.findings.items()
    }


MEASURAND = {
    "electric field": "electric-field-potential-free",
    "magnetic flux density": "magnetic-flux-density",
}


def test_every_published_value_lands_in_the_band_that_the_table_dictates(findings):
    rows = list(published())
    assert len(rows) == len(findings) == 109
    for table, row in rows:
        measurand = MEASURAND[row["quantity"]]
        finding = findings[table, spot_name(row), measurand]
        expected = Decimal(row["value"]) * Decimal(EXACT[row["unit"]])
        assert finding.value == float(expected)  # decimal units convert without a trace
        assert finding.qualifier == ""
        assert finding.band == exact_band(measurand, row), spot_name(row)


@pytest.mark.parametrize(
    ("table", "spot", "quantity", "value", "band", "on_bound"),
    [
        # BPA 1994, 115 kV line, mG to nT by hand: 1 mG = 100 nT.
        ("bpa-1994-lines", "115 kV line, right of way", "magnetic flux density", 2970, 4, False),
        ("bpa-1994-lines", "115 kV line, 200 ft", "magnetic flux density", 40, 2, False),
        ("bpa-1994-lines", "115 kV line, 300 ft", "magnetic flux density", 20, 2, True),
        ("bpa-1994-lines", "230 kV line, right of way", "electric field", 2000, 4, False),
        ("bpa-1994-lines", "115 kV line, 300 ft", "electric field", 3, 3, False),
        # BfS, at night.
        ("bfs-personal", "at night, n 1926: median", "magnetic flux density", 92, 2, False),
        ("bfs-personal", "at night, n 1926: 95th", "magnetic flux density", 144, 3, False),
        # WHO 1999: the oven, read potential-free.
        ("who-1999-appliances", "electric oven", "electric field", 8, 3, False),
        ("who-1999-appliances", "light bulb", "electric field", 5, 3, False),
        ("who-1999-appliances", "stereo receiver", "electric field", 180, 4, False),
        # BUWAL 2005: 0.01 and 0.1 µT at the clock radio; 0.5 µT at the refrigerator is on a bound.
        ("buwal-2005-appliances", "clock radio, 100 cm: l", "magnetic flux density", 10, 1, False),
        ("buwal-2005-appliances", "clock radio, 30 cm: low", "magnetic flux density", 100, 3, True),
        ("buwal-2005-appliances", "refrigerator, 3 cm: low", "magnetic flux density", 500, 3, True),
        # University of Cyprus.
        ("cyprus-reports", "place 3, 1.5 m", "magnetic flux density", 19, 1, False),
        ("cyprus-reports", "place 1: mean", "magnetic flux density", 4492, 4, False),
    ],
)  # fmt: skip
def test_single_values_by_hand(findings, table, spot, quantity, value, band, on_bound):
    (finding,) = (
        finding
        for (room, name, measurand), finding in findings.items()
        if room == table and name.startswith(spot) and measurand == MEASURAND[quantity]
    )
    assert finding.value == value
    assert finding.band == band
    assert ("on a bound" in finding.flags) is on_bound


def test_a_range_is_given_by_its_two_ends():
    ends: dict[tuple[str, str], dict[str, Decimal]] = {}
    for table, row in published():
        if "end of the range" in row["statistic"]:
            ends.setdefault((table, row["item"]), {})[row["statistic"]] = Decimal(row["value"])
    assert len(ends) == 24  # eight appliances at three distances
    for end in ends.values():
        assert end["low end of the range"] < end["high end of the range"]
