"""remedies.csv: the items that a plan may hold, or that were carried out."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from django.utils.translation import gettext

from surveys.calc.arrays import none_if_nan
from surveys.intake.cells import NotAllowed, choices, date_of, numbers, read_words
from surveys.intake.circuits import ApplianceRow, CircuitRow
from surveys.intake.columns import ITEM_STATES, YES_NO
from surveys.intake.names import declared_name, own_names
from surveys.intake.tables import Table
from surveys.models.circuits import BETWEEN_NAMES, names_in
from surveys.models.names import folded

PROPOSED = "proposed"


@dataclass(frozen=True)
class RemedyKind:
    """What a file has to know of a kind in the catalogue."""

    key: str
    acts_on: str  # circuits, appliances or spots
    has_effect: bool


@dataclass(frozen=True)
class RemedyRow:
    """A row of remedies.csv; names are spelt as the rows that declare them."""

    row_number: int
    item: str
    remedy: str
    circuits: tuple[str, ...]
    appliances: tuple[str, ...]
    room: str
    spots: tuple[str, ...]
    effect_db: float | None
    spread_db: float | None
    works_percent: float | None
    cost: float | None
    chosen: bool
    state: str
    done_on: date | None
    done_by: str
    note: str


@dataclass(frozen=True)
class Declared:
    """What the other files of a folder declare, as they spell it, by folded name."""

    circuits: Mapping[str, str] | None  # None: no file of circuits, names are taken as they come
    appliances: Mapping[str, str] | None
    spots: Mapping[str, Mapping[str, str]]  # by folded room
    rooms: Mapping[str, str]


def declared_by(
    circuits: Iterable[CircuitRow] | None,
    appliances: Iterable[ApplianceRow] | None,
    spots: Sequence[tuple[str, str, str]],
) -> Declared:
    """What the rows of the other files declare; `spots` are room, name and use."""
    by_room: dict[str, dict[str, str]] = {}
    for room, name, _use in spots:
        by_room.setdefault(folded(room), {})[folded(name)] = name
    return Declared(
        None if circuits is None else {folded(row.name): row.name for row in circuits},
        None if appliances is None else {folded(row.name): row.name for row in appliances},
        by_room,
        {folded(room): room for room, _name, _use in spots},
    )


def read_remedies(
    table: Table, declared: Declared, kinds: Sequence[RemedyKind]
) -> tuple[RemedyRow, ...]:
    """The rows of remedies.csv; they hold only where the log stays empty."""
    names = _names(table)
    remedy = table["remedy"].spread(choices(table, "remedy", tuple(kind.key for kind in kinds)))
    circuits = _listed(table, "circuits", declared.circuits, gettext("names of circuits.csv"))
    appliances = _listed(
        table, "appliances", declared.appliances, gettext("names of appliances.csv")
    )
    rooms = _rooms(table, declared)
    spots = _spots(table, rooms, declared)
    given = _numbers(table)
    chosen = table["chosen"].spread(choices(table, "chosen", YES_NO))
    states = table["state"].spread(choices(table, "state", ITEM_STATES))
    days = table["done_on"].spread(read_words(table, "done_on", date_of, None))
    rows = tuple(
        RemedyRow(
            row_number=int(table.row_numbers[at]),
            item=names[at],
            remedy=remedy[at],
            circuits=circuits[at],
            appliances=appliances[at],
            room=rooms[at],
            spots=spots[at],
            **{name: column[at] for name, column in given.items()},
            chosen=chosen[at] == "yes",
            state=states[at] or PROPOSED,
            done_on=done_on,
            done_by=table["done_by"].texts[at],
            note=table["note"].texts[at],
        )
        for at, done_on in enumerate(days)
    )
    _check_kinds(table, rows, {kind.key: kind for kind in kinds})
    return rows


def _rooms(table: Table, declared: Declared) -> list[str]:
    """The room of each row as the readings spell it."""
    allowed = gettext("a room of readings.csv")
    words = read_words(table, "room", lambda word: declared_name(word, declared.rooms, allowed), "")
    return table["room"].spread(words)


def _numbers(table: Table) -> dict[str, list[float | None]]:
    """The columns of numbers; None where a cell is empty."""
    percent = gettext("a number from 0 to 100")
    columns = {
        "effect_db": numbers(table, "effect_db", lambda value: value == value, gettext("a number")),
        "spread_db": numbers(table, "spread_db", lambda value: value >= 0, _not_negative()),
        "works_percent": numbers(table, "works_percent", lambda v: (v >= 0) & (v <= 100), percent),
        "cost": numbers(table, "cost", lambda value: value >= 0, _not_negative()),
    }
    return {name: [none_if_nan(value) for value in column] for name, column in columns.items()}


def _not_negative() -> str:
    return gettext("a number of 0 or more")


def _names(table: Table) -> list[str]:
    """The names of the items: each once, and none that a list of items could not hold."""

    def parse(word: str) -> str:
        if BETWEEN_NAMES in word:
            raise NotAllowed(gettext("a name without a semicolon"))
        return word

    return own_names(table, "item", parse)


def _listed(
    table: Table, column: str, known: Mapping[str, str] | None, allowed: str
) -> list[tuple[str, ...]]:
    def parse(word: str) -> tuple[str, ...]:
        names = names_in(word)
        if known is None:
            return tuple(names)
        return tuple(declared_name(name, known, allowed) for name in names)

    return table[column].spread(read_words(table, column, parse, ()))


def _spots(table: Table, rooms: Sequence[str], declared: Declared) -> list[tuple[str, ...]]:
    """Spots of the room of the row; a fault where there is no room, or the room has none of it."""
    listed: list[tuple[str, ...]] = []
    for place, word in enumerate(table["spots"].texts):
        names = names_in(word)
        known = declared.spots.get(folded(rooms[place]), {}) if rooms[place] else {}
        is_wrong_room = bool(table["room"].texts[place]) and not rooms[place]  # named already
        if names and not rooms[place] and not is_wrong_room:
            table.fault(place, "spots", gettext("empty, where no room is given"))
        elif not is_wrong_room and not {folded(name) for name in names} <= set(known):
            table.fault(
                place, "spots", f"{gettext('spots of the room')}: {', '.join(known.values())}"
            )
        listed.append(tuple(known.get(folded(name), name) for name in names))
    return listed


def _check_kinds(table: Table, rows: Sequence[RemedyRow], kinds: Mapping[str, RemedyKind]) -> None:
    """What a kind acts on is named, and its effect given where the catalogue has none."""
    for place, row in enumerate(rows):
        kind = kinds.get(row.remedy)
        if kind is None:
            continue
        if kind.acts_on == "circuits" and not names_in(table["circuits"].texts[place]):
            table.fault(place, "circuits", gettext("one or more names: this kind acts on circuits"))
        if kind.acts_on == "appliances" and not names_in(table["appliances"].texts[place]):
            table.fault(
                place, "appliances", gettext("one or more names: this kind acts on appliances")
            )
        if not kind.has_effect and not table["effect_db"].texts[place]:
            table.fault(
                place, "effect_db", gettext("a number: the catalogue has none for this kind")
            )
