"""When the last work at each spot was done, by the items of the case."""

from collections.abc import Iterable
from datetime import date

from mitigation.models import Case, PlanItem, Remedy
from surveys.models import Reading, Spot
from surveys.models.names import folded
from surveys.services.sources import names_off

DONE = (PlanItem.State.DONE, PlanItem.State.DONE_DIFFERENTLY)


def last_works(case: Case) -> dict[int, date]:
    """The day of the last done item that serves each spot, by its key; one query without any.

    An item on sources without a room serves the spots where one of its sources was tried.
    """
    done = list(PlanItem.objects.filter(case=case, state__in=DONE, done_on__isnull=False).whole())
    if not done:
        return {}
    spots = list(Spot.objects.filter(room__property=case.property_id))
    tried = _tried_at(case) if any(_needs_trials(item) for item in done) else {}
    days: dict[int, date] = {}
    for item in done:
        for spot in _served(item, spots, tried):
            if item.done_on is not None:
                days[spot] = max(item.done_on, days.get(spot, item.done_on))
    return days


def _needs_trials(item: PlanItem) -> bool:
    return item.room_id is None and item.remedy.acts_on != Remedy.ActsOn.SPOTS


def _served(
    item: PlanItem, spots: Iterable[Spot], tried: dict[int, frozenset[str]]
) -> frozenset[int]:
    named = frozenset(spot.pk for spot in item.spots.all())
    if named:
        return named
    if item.room_id is not None:
        return frozenset(spot.pk for spot in spots if spot.room_id == item.room_id)
    if not _needs_trials(item):
        return frozenset(spot.pk for spot in spots)
    sources = {folded(row.name) for row in (*item.circuits.all(), *item.appliances.all())}
    return frozenset(spot for spot, names in tried.items() if names & sources)


def _tried_at(case: Case) -> dict[int, frozenset[str]]:
    """The sources that trials of the case name at each spot."""
    rows = Reading.objects.filter(
        visit__in=case.visits.all(),
        state=Reading.State.TRIAL,
        set_aside="",
        corrections=None,
    ).values_list("spot", "circuits_off")
    names: dict[int, frozenset[str]] = {}
    for spot, off in rows:
        names[spot] = names.get(spot, frozenset()) | set(map(folded, names_off(off)))
    return names
