"""The small tables of a case folder: instruments, visits, ground checks."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

import numpy as np
from django.utils.translation import gettext

from surveys.calc.arrays import FloatArray
from surveys.calc.measurands import Quantity
from surveys.intake.cells import among, choices, date_of, numbers, read_words, units
from surveys.intake.columns import KINDS, OUTLET_TESTS, QUANTITIES
from surveys.intake.tables import Table

NOT_TESTED = "not tested"


@dataclass(frozen=True)
class InstrumentRow:
    """A row of instruments.csv, in the order of its columns; numbers are in `unit`.

    Last comes where it stands: the table's label and the row as people count it.
    """

    name: str
    description: str
    quantity: str
    axes: int | None
    unit: str
    gain_percent: float
    resolution: float
    noise: float | None
    floor: float | None
    ceiling: float | None
    low_hz: float | None
    high_hz: float | None
    certificate: str
    calibrated_on: date | None
    due_on: date | None
    maker: str
    serial: str
    laboratory: str
    file: str
    row_number: int


@dataclass(frozen=True)
class VisitRow:
    """A row of visits.csv."""

    name: str
    kind: str
    date: date
    assessor: str
    temperature_c: float | None
    humidity_percent: float | None
    supply_voltage_v: float | None
    deviations: str
    sampling: str
    note: str
    row_number: int = field(compare=False)


@dataclass(frozen=True)
class GroundCheckRow:
    """A row of ground_checks.csv; `visit` is the place of the visit in the visits."""

    visit: int
    point: str
    other_point: str
    voltage_v: float | None
    outlet_test: str
    note: str
    row_number: int = field(compare=False)


def _given(values: FloatArray) -> list[float | None]:
    return [None if value != value else value for value in values.tolist()]


def _not_negative(value: float) -> bool:
    return value >= 0


def _any(value: float) -> bool:
    return True


def read_instruments(table: Table) -> tuple[InstrumentRow, ...]:
    """The rows of instruments.csv; they hold only where the log stays empty."""
    quantities = table["quantity"].spread(choices(table, "quantity", QUANTITIES))
    unit = table["unit"].spread(units(table, "unit"))
    check_units(table, quantities, unit)
    axes = table["axes"].spread(choices(table, "axes", ("1", "3")))
    amount = {
        name: numbers(table, name, _not_negative, gettext("a number of 0 or more"))
        for name in ("gain_percent", "noise", "floor", "ceiling", "low_hz", "high_hz")
    }
    above_0 = gettext("a number above 0")
    resolution = numbers(table, "resolution", lambda value: value > 0, above_0)
    _check_order(table, amount, "floor", "ceiling")
    _check_order(table, amount, "low_hz", "high_hz")
    begun = table["calibrated_on"].spread(read_words(table, "calibrated_on", date_of, None))
    due = table["due_on"].spread(read_words(table, "due_on", date_of, None))
    _check_days(table, begun, due)
    names = table["instrument"].texts
    _check_once(
        table,
        "calibrated_on",
        list(zip(names, quantities, table["calibrated_on"].texts, strict=True)),
        gettext("one row for each instrument, quantity and calibrated_on"),
    )
    _check_plates(table, names)
    columns = (
        names,
        table["description"].texts,
        quantities,
        [int(word) if word else None for word in axes],
        unit,
        amount["gain_percent"].tolist(),
        resolution.tolist(),
        *(_given(amount[name]) for name in ("noise", "floor", "ceiling", "low_hz", "high_hz")),
        table["certificate"].texts,
        begun,
        due,
        *(table[name].texts for name in ("maker", "serial", "laboratory")),
        [table.label] * len(table),
        table.row_numbers.tolist(),
    )
    return tuple(InstrumentRow(*row) for row in zip(*columns, strict=True))


def _check_plates(table: Table, instruments: Sequence[str]) -> None:
    """A fault at each maker and serial number that an earlier row of the instrument contradicts."""
    for name in ("maker", "serial"):
        first: dict[str, str] = {}
        for place, text in enumerate(table[name].texts):
            instrument = instruments[place]
            if text and first.setdefault(instrument, text) != text:
                words = {"text": first[instrument], "instrument": instrument}
                allowed = gettext("%(text)s, as in an earlier row of %(instrument)s") % words
                table.fault(place, name, allowed)


def check_units(table: Table, quantities: list[str], unit: list[str]) -> None:
    """A fault at each row whose unit does not go with its quantity."""
    pairs = set(zip(quantities, unit, strict=True))
    for quantity, word in sorted(pairs):
        if quantity and word and word not in Quantity(quantity).units:
            each = enumerate(zip(quantities, unit, strict=True))
            rows = [place for place, pair in each if pair == (quantity, word)]
            words = {"units": ", ".join(Quantity(quantity).units), "quantity": quantity}
            table.fault(rows, "unit", gettext("%(units)s for %(quantity)s") % words)


def _check_order(table: Table, amount: dict[str, FloatArray], low: str, high: str) -> None:
    with np.errstate(invalid="ignore"):
        wrong = np.flatnonzero(amount[high] <= amount[low])
    table.fault(wrong, high, gettext("a number above %(low)s") % {"low": low})


def _check_days(table: Table, begun: Sequence[date | None], due: Sequence[date | None]) -> None:
    early = [
        n
        for n, (first, last) in enumerate(zip(begun, due, strict=True))
        if first is not None and last is not None and last < first
    ]
    table.fault(early, "due_on", gettext("a day not before calibrated_on"))


def _check_once(table: Table, name: str, keys: list[tuple[str, ...]], allowed: str) -> None:
    """A fault at each row whose key stood in a row before."""
    seen: Counter[tuple[str, ...]] = Counter()
    for place, key in enumerate(keys):
        if seen[key]:
            first = int(table.row_numbers[keys.index(key)])
            found = ", ".join(part or gettext("no date") for part in key)
            same = gettext("row %(n)s has the same") % {"n": first}
            table.fault(place, name, f"{allowed} ({same})", found)
        seen[key] += 1


def read_visits(table: Table) -> tuple[VisitRow, ...]:
    """The rows of visits.csv in their order; they hold only where the log stays empty."""
    names = table["visit"].texts
    _check_once(table, "visit", [(name,) for name in names], gettext("each visit once"))
    kinds = table["kind"].spread(choices(table, "kind", KINDS))
    days = table["date"].spread(read_words(table, "date", date_of, date.min))
    temperature = numbers(table, "temperature_c", _any, gettext("a number, in °C"))
    from_0_to_100 = gettext("a number from 0 to 100")
    humidity = numbers(table, "humidity_percent", lambda value: 0 <= value <= 100, from_0_to_100)
    above_0 = gettext("a number above 0")
    voltage = numbers(table, "supply_voltage", lambda value: value > 0, above_0)
    given = [_given(temperature), _given(humidity), _given(voltage)]
    return tuple(
        VisitRow(
            name=names[n],
            kind=kinds[n],
            date=days[n],
            assessor=table["assessor"].texts[n],
            temperature_c=given[0][n],
            humidity_percent=given[1][n],
            supply_voltage_v=given[2][n],
            deviations=table["deviations"].texts[n],
            sampling=table["sampling"].texts[n],
            note=table["note"].texts[n],
            row_number=int(table.row_numbers[n]),
        )
        for n in range(len(table))
    )


def read_ground_checks(table: Table, visits: Mapping[str, int]) -> tuple[GroundCheckRow, ...]:
    """The rows of ground_checks.csv; `visits` gives the place of each visit by its name."""
    visit = table["visit"].spread(
        among(table, "visit", visits, -1, gettext("a visit of visits.csv"))
    )
    voltage = _given(numbers(table, "voltage_v", _not_negative, gettext("a number of 0 or more")))
    tests = table["outlet_test"].spread(choices(table, "outlet_test", OUTLET_TESTS))
    points, others = table["point"].texts, table["other_point"].texts
    same = [n for n in range(len(table)) if points[n] and points[n] == others[n]]
    table.fault(same, "other_point", gettext("another point than that of point"))
    return tuple(
        GroundCheckRow(
            visit=visit[n],
            point=points[n],
            other_point=others[n],
            voltage_v=voltage[n],
            outlet_test=tests[n] or NOT_TESTED,
            note=table["note"].texts[n],
            row_number=int(table.row_numbers[n]),
        )
        for n in range(len(table))
    )
