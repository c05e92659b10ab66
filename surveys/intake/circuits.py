"""circuits.csv and appliances.csv: what a home's panels switch."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from django.utils.translation import gettext

from surveys.intake.cells import NotAllowed, choices, numbers, read_words
from surveys.intake.columns import PHASES, POLES, RCDS
from surveys.intake.names import declared_name, own_names
from surveys.intake.tables import Table
from surveys.models.circuits import BETWEEN_NAMES, MAIN_SWITCH, names_in
from surveys.models.names import folded


@dataclass(frozen=True)
class CircuitRow:
    """A row of circuits.csv."""

    name: str
    panel: str
    label: str
    phase: str
    rating_a: float | None
    rcd: str
    poles: int | None
    note: str


@dataclass(frozen=True)
class ApplianceRow:
    """A row of appliances.csv; circuit and room are spelt as the rows that declare them."""

    name: str
    circuit: str
    room: str
    note: str


def read_circuits(table: Table) -> tuple[CircuitRow, ...]:
    """The rows of circuits.csv; they hold only where the log stays empty."""
    names = _names(table, "circuit", {})
    above_0 = gettext("a number above 0")
    rating = numbers(table, "rating_a", lambda value: value > 0, above_0).tolist()
    poles = table["poles"].spread(choices(table, "poles", POLES))
    columns = (
        names,
        table["panel"].texts,
        table["label"].texts,
        table["phase"].spread(choices(table, "phase", PHASES)),
        [None if value != value else value for value in rating],
        table["rcd"].spread(choices(table, "rcd", RCDS)),
        [int(word) if word else None for word in poles],
        table["note"].texts,
    )
    return tuple(CircuitRow(*row) for row in zip(*columns, strict=True))


def read_appliances(
    table: Table, circuits: Iterable[CircuitRow], rooms: Iterable[str]
) -> tuple[ApplianceRow, ...]:
    """The rows of appliances.csv; `rooms` are those of readings.csv."""
    declared = {folded(row.name): row.name for row in circuits}
    names = _names(table, "appliance", declared)
    columns = (
        names,
        _declared(table, "circuit", declared, gettext("a circuit of circuits.csv")),
        _declared(
            table, "room", {folded(name): name for name in rooms}, gettext("a room of readings.csv")
        ),
        table["note"].texts,
    )
    return tuple(ApplianceRow(*row) for row in zip(*columns, strict=True))


def check_names_off(
    table: Table, circuits: Iterable[CircuitRow] | None, appliances: Iterable[ApplianceRow]
) -> None:
    """A fault at each list of what was off that names what no row declares.

    Without circuits.csv (None) names are taken as they come. The sign of the main switch stands
    alone in any case.
    """
    declared = {folded(row.name) for row in circuits or ()}
    declared |= {folded(row.name) for row in appliances}

    def parse(word: str) -> str:
        names = names_in(word)
        if names == [MAIN_SWITCH]:
            return word
        if MAIN_SWITCH in names:
            raise NotAllowed(gettext("* alone, where the main switch is off"))
        if circuits is not None and not declared.issuperset(map(folded, names)):
            raise NotAllowed(gettext("names of circuits.csv and appliances.csv, or * alone"))
        return word

    read_words(table, "circuits_off", parse, "")


def _names(table: Table, column: str, taken: Mapping[str, str]) -> list[str]:
    """The names of the rows: each once, none of `taken`, none that a list could not hold."""

    def parse(word: str) -> str:
        if BETWEEN_NAMES in word or word == MAIN_SWITCH:
            raise NotAllowed(gettext("a name without a semicolon, and not the sign * alone"))
        if folded(word) in taken:
            raise NotAllowed(gettext("a name that no circuit has"))
        return word

    return own_names(table, column, parse)


def _declared(table: Table, column: str, known: Mapping[str, str], what: str) -> list[str]:
    """A column of names that other rows declare, as these spell them."""
    words = read_words(table, column, lambda word: declared_name(word, known, what), "")
    return table[column].spread(words)
