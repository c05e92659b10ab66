"""One way to write the display of a meter, and one order of rows."""

import pytest

from surveys.letters.order import by_measurand, worst_first
from surveys.models import displays

ROW = {
    "x": 3.1, "x_mark": "", "y": 0.3, "y_mark": "<", "z": None, "z_mark": "", "total": None,
    "total_mark": "",
}  # fmt: skip
TOTAL = dict.fromkeys(ROW, None) | {"total": 2000.0, "total_mark": ">"}


def test_axes_have_their_names_and_signs_and_a_total_stands_alone():
    assert displays.whole(ROW, "V/m") == "X 3.1, Y <0.3 V/m"
    assert displays.whole(TOTAL, "nT") == ">2000 nT"
    assert displays.whole(ROW, "V/m", lambda value: f"{value:.2f}") == "X 3.10, Y <0.30 V/m"


def test_cells_that_are_written_already_are_joined_the_same_way():
    cells = {name: displays.cell(ROW, name) for name in displays.CELLS}
    assert cells == {"x": "3.1", "y": "<0.3", "z": "", "total": ""}
    assert displays.joined(cells, "V/m") == displays.whole(ROW, "V/m")


@pytest.mark.parametrize(
    ("value", "mark", "expected"),
    [
        (3.1, "", 3.1),
        (None, "", None),
        (0.3, "<", "<0.3"),
        (2000.0, ">", ">2000"),
        (0.1 + 0.2, "<", "<0.30000000000000004"),  # a file has it to the last bit
    ],
)
def test_a_file_gets_numbers_as_numbers_and_signs_as_text(value, mark, expected):
    assert displays.cell_for_file(value, mark) == expected


def test_sleeping_spots_first_then_what_was_measured_then_the_worst():
    rows = {
        "desk": {"use": "work", "value": 300.0, "limit": 5.0},
        "gone": {"use": "sleeping", "value": None, "limit": 5.0},
        "bed": {"use": "sleeping", "value": 2.0, "limit": 5.0},
        "worse": {"use": "sleeping", "value": 40.0, "limit": 5.0},
        "no limit": {"use": "work", "value": 400.0, "limit": None},
    }
    order = sorted(rows, key=lambda name: worst_first(**rows[name]))
    assert order == ["worse", "bed", "gone", "no limit", "desk"]


def test_groups_come_in_the_order_of_measurands_and_only_where_they_have_rows():
    rows = ["magnetic-flux-density", "electric-field-ground", "magnetic-flux-density"]
    assert by_measurand(rows, str) == {
        "electric-field-ground": ["electric-field-ground"],
        "magnetic-flux-density": ["magnetic-flux-density"] * 2,
    }
