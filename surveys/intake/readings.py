"""readings.csv on arrays: every check is one pass over a column, none over a row."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from django.utils.translation import gettext

from surveys.calc.arrays import CodeArray, FloatArray, IntArray
from surveys.calc.certificates import in_force
from surveys.calc.measurands import MEASURAND_OF, Quantity
from surveys.intake.cells import among, choices, marked_numbers, numbers, units
from surveys.intake.columns import QUANTITIES, REFERENCES, STATES, USES
from surveys.intake.registers import InstrumentRow, VisitRow, check_units
from surveys.intake.tables import Table
from surveys.models.displays import CELLS
from surveys.models.names import folded

AS_USED = "as-used"
OTHER_USE = "other"
NAME_LENGTH = 80


# What is no column of rows.
OF_THE_FILE = ("spots", "circuits")
DISTANCES = ("height_m", "body_distance_m", "surface_distance_m")


@dataclass(frozen=True)
class Readings:
    """The rows of readings.csv by column, shape (n,) each; units as given.

    `visit`, `spot` and `calibration` are places in the visits, the spots and the instrument rows
    of the folder. `values` and `marks` have a column for x, y, z and total.
    """

    row_numbers: IntArray
    visit: IntArray
    spots: list[tuple[str, str, str]]
    spot: IntArray
    measurand: list[str]
    ground_point: list[str]
    calibration: IntArray
    values: FloatArray
    marks: CodeArray
    unit: list[str]
    state: list[str]
    circuits_off: list[str]
    circuits: list[str]
    taken_at: list[str]
    set_aside: list[str]
    height_m: FloatArray
    body_distance_m: FloatArray
    surface_distance_m: FloatArray
    load: list[str]
    note: list[str]

    def __len__(self) -> int:
        return len(self.row_numbers)

    def at(self, visits: Collection[int]) -> "Readings":
        """The rows of some visits, by their places."""
        rows = np.flatnonzero(np.isin(self.visit, sorted(visits)))
        kept: dict[str, Any] = {}
        for part in fields(self):
            column = getattr(self, part.name)
            if part.name in OF_THE_FILE:
                continue
            is_array = isinstance(column, np.ndarray)
            kept[part.name] = column[rows] if is_array else [column[row] for row in rows.tolist()]
        return replace(self, **kept)


def read_readings(
    table: Table, visits: Sequence[VisitRow], instruments: Sequence[InstrumentRow]
) -> Readings:
    """The rows of readings.csv; they hold only where the log stays empty."""
    visit_words = among(table, "visit", visit_places(visits), -1, "a visit of visits.csv")
    visit = _coded(table, "visit", visit_words)
    values, marks = _values(table)
    quantity, measurand = _measurands(table)
    unit = _units(table, quantity)
    calibration = _calibrations(table, visit, quantity, visits, instruments)
    spots, spot = _spots(table)
    circuits_off, circuits = _circuits(table)
    states = choices(table, "state", STATES)
    distance = {
        name: numbers(table, name, lambda value: value >= 0, "a number of 0 or more")
        for name in DISTANCES
    }
    return Readings(
        row_numbers=table.row_numbers,
        visit=visit,
        spots=spots,
        spot=spot,
        measurand=measurand,
        ground_point=table["ground_point"].texts,
        calibration=calibration,
        values=values,
        marks=marks,
        unit=unit,
        state=table["state"].spread([word or AS_USED for word in states]),
        circuits_off=circuits_off,
        circuits=circuits,
        taken_at=table["taken_at"].texts,
        set_aside=table["set_aside"].texts,
        load=table["load"].texts,
        note=table["note"].texts,
        **distance,
    )


def _coded(table: Table, name: str, of_words: Sequence[int]) -> IntArray:
    return np.asarray(of_words, dtype=np.int64)[table[name].codes]


def _values(table: Table) -> tuple[FloatArray, CodeArray]:
    """x, y, z and total with their marks; either a total, or one to three axes."""
    read = [marked_numbers(table, name) for name in CELLS]
    filled = np.stack([~table[name].is_empty for name in CELLS], axis=1)
    axes, total = filled[:, :3].any(axis=1), filled[:, 3]
    table.fault(np.flatnonzero(axes & total), "total", gettext("either a total or axes, not both"))
    table.fault(np.flatnonzero(~axes & ~total), "total", gettext("a total, or one to three axes"))
    return (
        np.stack([values for values, _ in read], axis=1),
        np.stack([marks for _, marks in read], axis=1),
    )


def _measurands(table: Table) -> tuple[list[str], list[str]]:
    """Quantity and measurand of each row; the reference is for the electric field only."""
    quantity_words = choices(table, "quantity", QUANTITIES)
    reference_words = choices(table, "reference", REFERENCES)
    is_electric = _is(table, "quantity", quantity_words, Quantity.ELECTRIC_FIELD)
    known = _coded(table, "quantity", [int(bool(word)) for word in quantity_words]) == 1
    no_reference = table["reference"].is_empty
    table.fault(
        np.flatnonzero(is_electric & no_reference),
        "reference",
        gettext("ground or potential-free, for the electric field"),
    )
    table.fault(
        np.flatnonzero(known & ~is_electric & ~no_reference),
        "reference",
        gettext("nothing, except for the electric field"),
    )
    quantity = table["quantity"].spread(quantity_words)
    reference = table["reference"].spread(reference_words)
    pairs = zip(quantity, reference, strict=True)
    of_pair = {pair: measurand.value for pair, measurand in MEASURAND_OF.items()}
    return quantity, [of_pair.get(pair, "") for pair in pairs]


def _is(table: Table, name: str, words: Sequence[str], wanted: str) -> np.ndarray:
    codes = [code for code, word in enumerate(words) if word == wanted]
    return np.isin(table[name].codes, codes)


def _units(table: Table, quantity: list[str]) -> list[str]:
    unit = table["unit"].spread(units(table, "unit"))
    check_units(table, quantity, unit)
    return unit


def _calibrations(
    table: Table,
    visit: IntArray,
    quantity: list[str],
    visits: Sequence[VisitRow],
    instruments: Sequence[InstrumentRow],
) -> IntArray:
    """For each reading the instrument row that was in force, or describes it, on the day."""
    described: dict[tuple[str, str], list[int]] = {}
    for place, row in enumerate(instruments):
        described.setdefault((row.name, row.quantity), []).append(place)
    names = {row.name: True for row in instruments}
    known = among(table, "instrument", names, False, gettext("an instrument of instruments.csv"))
    is_known = _coded(table, "instrument", [int(each) for each in known]) == 1
    pair_of = {pair: code for code, pair in enumerate(described)}
    pairs = np.fromiter(
        (pair_of.get(pair, -1) for pair in zip(table["instrument"].texts, quantity, strict=True)),
        dtype=np.int64,
        count=len(table),
    )
    has_quantity = np.fromiter(map(bool, quantity), dtype=bool, count=len(table))
    missing = np.flatnonzero(is_known & has_quantity & (pairs < 0))
    table.fault(missing, "instrument", gettext("an instrument with a row for this quantity"))
    pins = np.full((len(visits) + 1, len(described) + 1), -1, dtype=np.int64)
    for place, visit_row in enumerate(visits):
        for pair, rows in described.items():
            began = {row: instruments[row].calibrated_on for row in rows}
            pinned = in_force(visit_row.date, began)
            pins[place, pair_of[pair]] = -1 if pinned is None else pinned
    return np.asarray(pins[visit, pairs])


def _spots(table: Table) -> tuple[list[tuple[str, str, str]], IntArray]:
    """The spots as (room, spot, use) in the order of their first rows, and each row's.

    Names that differ in case, spaces or the form of their characters are one, as first spelt.
    """
    use_words = choices(table, "use", USES)
    room, name = table["room"], table["spot"]
    first_spelt = _first_spelt(room.words)
    keys = first_spelt[room.codes] * max(len(name.words), 1) + _first_spelt(name.words)[name.codes]
    _, first, inverse = np.unique(keys, return_index=True, return_inverse=True)
    order = np.argsort(first, kind="stable")
    rank = np.empty_like(order)
    rank[order] = np.arange(len(order))
    spot = rank[inverse.reshape(-1)]
    uses = [""] * len(order)
    use_of = np.asarray([USES.index(word) if word else -1 for word in use_words], dtype=np.int64)
    use = use_of[table["use"].codes]
    given = np.flatnonzero(use >= 0)
    use_of_spot = np.full(len(order), -1, dtype=np.int64)
    spots_given, first_given = np.unique(spot[given], return_index=True)
    use_of_spot[spots_given] = use[given[first_given]]
    for place in spots_given.tolist():
        uses[place] = USES[use_of_spot[place]]
    table.fault(
        given[use[given] != use_of_spot[spot[given]]],
        "use",
        gettext("one use for each spot (an earlier row of the spot has another)"),
    )
    spots = [
        (
            room.words[first_spelt[room.codes[row]]],
            name.words[name.codes[row]],
            uses[place] or OTHER_USE,
        )
        for place, row in enumerate(first[order].tolist())
    ]
    return spots, spot


def _first_spelt(words: Sequence[str]) -> IntArray:
    """For each word the first one that is the same name."""
    first: dict[str, int] = {}
    codes = [first.setdefault(folded(word), code) for code, word in enumerate(words)]
    return np.array(codes, dtype=np.int64)


def _circuits(table: Table) -> tuple[list[str], list[str]]:
    """The circuits that were off as one text a row, and the name of each circuit once."""
    column = table["circuits_off"]
    lists = [[part.strip() for part in word.split(";") if part.strip()] for word in column.words]
    wrong = {
        code: f"names of at most {NAME_LENGTH} characters, with semicolons between"
        for code, names in enumerate(lists)
        if any(len(name) > NAME_LENGTH for name in names)
    }
    table.fault_words("circuits_off", wrong)
    circuits = dict.fromkeys(name for names in lists for name in names)
    return column.spread(["; ".join(names) for names in lists]), list(circuits)


def visit_places(visits: Sequence[VisitRow]) -> Mapping[str, int]:
    """The place of each visit by its name; the first of two with the same name."""
    places: dict[str, int] = {}
    for place, row in enumerate(visits):
        places.setdefault(row.name, place)
    return places
