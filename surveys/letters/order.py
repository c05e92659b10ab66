"""The order of rows in the tables and pictures of letters, and on the pages that follow them."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import TypeVar

from surveys.models import Measurand

Row = TypeVar("Row")


def by_measurand(rows: Iterable[Row], code_of: Callable[[Row], str]) -> dict[str, list[Row]]:
    """The rows of each measurand that has some, in the order in which measurands are named."""
    groups: dict[str, list[Row]] = {code.value: [] for code in Measurand}
    for row in rows:
        groups[code_of(row)].append(row)
    return {code: group for code, group in groups.items() if group}


def worst_first(*, use: str, value: float | None, limit: float | None) -> tuple[bool, bool, float]:
    """A key to sort by: sleeping spots first, and there the worst first, unmeasured ones last."""
    share = 0.0 if value is None else value / (limit or 1.0)
    return use != "sleeping", value is None, -share


Place = tuple[str, str]
"""Room and spot."""


@dataclass(frozen=True)
class Standing:
    """How a place stands in one quantity."""

    place: Place
    use: str
    value: float | None
    limit: float | None


def places_in_order(standings: Iterable[Standing]) -> dict[Place, int]:
    """The one order of places in a letter, by their rank.

    Sleeping places first; the room with the worst place first, and in a room its worst place.
    """
    worst: dict[Place, tuple[bool, bool, float]] = {}
    for row in standings:
        key = worst_first(use=row.use, value=row.value, limit=row.limit)
        worst[row.place] = min(worst.get(row.place, key), key)
    rooms: dict[tuple[bool, str], tuple[bool, bool, float]] = {}
    for (room, _spot), key in worst.items():
        part = key[0], room  # the sleeping places of a room, or its others
        rooms[part] = min(rooms.get(part, key), key)
    ordered = sorted(
        worst, key=lambda place: (*rooms[worst[place][0], place[0]], place[0], worst[place])
    )
    return {place: rank for rank, place in enumerate(ordered)}
