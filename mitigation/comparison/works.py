"""When the last work at each spot was done, by the items of the case."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from mitigation.models import Case, PlanItem, Remedy
from surveys.models import Reading, Spot
from surveys.models.circuits import names_in
from surveys.models.names import folded


@dataclass(frozen=True)
class DoneItem:
    """An item that was carried out, with the keys of the spots that it serves."""

    row: PlanItem
    spots: frozenset[int]


def done_items(case: Case) -> list[DoneItem]:
    """What was done in a case, done differently or not; one query where nothing was.

    An item on sources without a room serves the spots where one of its sources was tried.
    """
    rows = list(PlanItem.objects.filter(case=case, state__in=PlanItem.CARRIED_OUT).whole())
    if not rows:
        return []
    spots = Spot.objects.filter(room__property=case.property_id)
    return [DoneItem(row, served) for row, served in _served_by(case, rows, spots)]


def spots_served(case: Case, items: Sequence[PlanItem]) -> dict[int, tuple[tuple[str, str], ...]]:
    """For each item, by its key, room and name of the spots that it serves, in their order."""
    spots = list(Spot.objects.filter(room__property=case.property_id).select_related("room"))
    return {
        item.pk: tuple((spot.room.name, spot.name) for spot in spots if spot.pk in served)
        for item, served in _served_by(case, items, spots)
    }


def _served_by(
    case: Case, items: Sequence[PlanItem], spots: Iterable[Spot]
) -> list[tuple[PlanItem, frozenset[int]]]:
    """Each item with the keys of the spots that it serves."""
    all_spots = list(spots)
    tried = _tried_at(case) if any(_needs_trials(item) for item in items) else {}
    return [(item, _served(item, all_spots, tried)) for item in items]


def last_works(done: Iterable[DoneItem]) -> dict[int, date]:
    """The day of the last done item that serves each spot, by its key."""
    days: dict[int, date] = {}
    for item in done:
        day = item.row.done_on
        if day is not None:
            days |= {spot: max(day, days.get(spot, day)) for spot in item.spots}
    return days


def _needs_trials(item: PlanItem) -> bool:
    return item.room_id is None and item.remedy.acts_on != Remedy.ActsOn.SPOTS


def declared_spots(item: PlanItem, spots: Iterable[Spot]) -> frozenset[int] | None:
    """Its spots, else all of its room, else every spot of the home for an item on spots.

    None where nothing says so: it serves the spots at which one of its sources was tried.
    """
    named = frozenset(spot.pk for spot in item.spots.all())
    if named:
        return named
    if item.room_id is not None:
        return frozenset(spot.pk for spot in spots if spot.room_id == item.room_id)
    return None if _needs_trials(item) else frozenset(spot.pk for spot in spots)


def _served(
    item: PlanItem, spots: Iterable[Spot], tried: dict[int, frozenset[str]]
) -> frozenset[int]:
    served = declared_spots(item, spots)
    if served is not None:
        return served
    sources = {folded(row.name) for row in (*item.circuits.all(), *item.appliances.all())}
    return frozenset(spot for spot, names in tried.items() if names & sources)


def _tried_at(case: Case) -> dict[int, frozenset[str]]:
    """The sources that trials of the case name at each spot."""
    readings = Reading.objects.trials().filter(visit__in=case.visits.all())
    rows = readings.values_list("spot", "circuits_off")
    names: dict[int, frozenset[str]] = {}
    for spot, off in rows:
        names[spot] = names.get(spot, frozenset()) | set(map(folded, names_in(off)))
    return names
