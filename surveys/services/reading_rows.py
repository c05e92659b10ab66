"""Readings as rows of readings.csv, with the names of their visits."""

from collections.abc import Mapping, Sequence

from django.db.models import QuerySet

from surveys.intake.writing import Cell
from surveys.models import Correction, Measurand, Reading, Visit
from surveys.models.displays import CELLS, cell_for_file
from surveys.services.corrections import set_aside_words

_PLACE = ("visit_id", "spot__room__name", "spot__name", "spot__use", "measurand")
_METER = ("ground_point__name", "instrument__name")
_VALUES = tuple(name for axis in CELLS for name in (axis, f"{axis}_mark"))
_STATE = ("unit", "state", "circuits_off", "taken_at_text")
_REST = ("height_m", "body_distance_m", "surface_distance_m", "load", "note", "pk", "set_aside")


def visit_names(visits: Sequence[Visit]) -> dict[int, str]:
    """The label of each visit; one that another visit has too gets a number."""
    names: dict[int, str] = {}
    for visit in visits:
        name, number = visit.label, 2
        while name in names.values():
            name, number = f"{visit.label[:70]} ({number})", number + 1
        names[visit.pk] = name
    return names


def reading_rows(
    readings: QuerySet[Reading], names: Mapping[int, str], corrections: Sequence[Correction]
) -> list[list[Cell]]:
    """The readings in the order of the file that they came in with; `names` are of their visits.

    The file knows no corrections: a corrected reading is one that was set aside, and why.
    """
    rows: list[list[Cell]] = []
    ordered = readings.order_by("position", "visit__position", "visit_id")
    later = set_aside_words(corrections, "corrected")
    columns = (*_PLACE, *_METER, *_VALUES, *_STATE, *_REST)
    for row in ordered.values_list(*columns).iterator(chunk_size=5_000):
        visit, room, spot, use, measurand, point, instrument = row[:7]
        values = [cell_for_file(row[n], row[n + 1]) for n in range(7, 15, 2)]
        code = Measurand(measurand)
        quantity = (code.quantity.value, code.reference)
        place = [names[visit], room, spot, use, *quantity, point, instrument]
        *rest, pk, set_aside = row[19:]
        reasons = "; ".join(filter(None, (set_aside, later.get(pk))))
        rows.append([*place, *values, *row[15:19], reasons, *rest])
    return rows
