"""Columns that came later: heights, how spots were chosen, deviations, and what was mistyped."""

import pytest
from django.utils import timezone

from mitigation.services.exports import export_case_folder
from mitigation.services.imports import import_case_folder
from surveys.intake import Upload, open_case_folder, read_case_folder
from surveys.models import Reading
from surveys.results.dangers import dangers_of
from surveys.services.row_keys import RowKeys
from tests.surveys.case_folders import CASE_TOML, TABLES, as_zip, csv_text

pytestmark = pytest.mark.django_db


def with_columns(**columns):
    """The folder with further cells: of a file, column -> the cells of its rows."""
    files = {"case.toml": CASE_TOML.encode()}
    for name, rows in TABLES.items():
        more = columns.get(name.removesuffix(".csv"), {})
        cells = zip(*more.values(), strict=True) if more else [()] * (len(rows) - 1)
        header, *body = rows
        table = [
            [*header, *more],
            *([*row, *extra] for row, extra in zip(body, cells, strict=True)),
        ]
        files[name] = csv_text(table).encode()
    return files


HEIGHTS = ["0.55", "", "", "", "0.9", "", "", ""]
FILES = with_columns(
    visits={"deviations": ["", "attic not reached"], "sampling": ["head and foot of each bed", ""]},
    readings={"height_m": HEIGHTS},
)


def bring_in(upload):
    return import_case_folder(source=upload, by=None, now=timezone.now()).case


def test_they_come_in_and_go_out_again() -> None:
    case = bring_in(as_zip(FILES))
    heights = Reading.objects.order_by("position").values_list("height_m", flat=True)
    assert list(heights) == [0.55, None, None, None, 0.9, None, None, None]
    before, after = case.visits.order_by("position")
    assert before.sampling == "head and foot of each bed" and before.deviations == ""
    assert (after.sampling, after.deviations) == ("", "attic not reached")
    again = read_case_folder(open_case_folder(Upload("x.zip", export_case_folder(case=case))))
    assert set(keys_of(again).values()) == set(Reading.objects.values_list("uid", flat=True))
    assert [visit.deviations for visit in again.visits] == ["", "attic not reached"]


def test_a_row_without_a_height_has_the_key_that_it_had_before() -> None:
    bring_in(as_zip())
    known = dict(Reading.objects.order_by("position").values_list("position", "uid"))
    keys = keys_of(read_case_folder(open_case_folder(as_zip(FILES))))
    same = [uid == keys[place] for place, uid in known.items()]
    assert same == [not height for height in HEIGHTS]


def keys_of(folder):
    """The keys of its readings, by their rows."""
    names = [row.name for row in folder.instruments]
    keys = RowKeys(folder.case.reference, folder.files.sha256)
    uids = keys.of_readings(folder.readings, folder.visits, names)
    return dict(zip(folder.readings.row_numbers.tolist(), uids, strict=True))


@pytest.mark.parametrize(("reason", "is_danger"), [("mistyped", False), ("lamp fell", True)])
def test_a_reading_that_never_stood_on_the_display_is_no_danger(reason, is_danger) -> None:
    """6200 V/m stand over the 5000 V/m of ICNIRP 2010 at 50 Hz."""
    rows = [list(row) for row in TABLES["readings.csv"]]
    total, aside = rows[0].index("total"), rows[0].index("set_aside")
    rows[3][8:11] = ["", "", ""]
    rows[3][total], rows[3][aside] = "6200", reason
    files = with_columns() | {"readings.csv": csv_text(rows).encode()}
    case = bring_in(as_zip(files))
    dangers = [danger for danger in dangers_of(case.visits.first()) if danger.value == 6200.0]
    assert bool(dangers) == is_danger
