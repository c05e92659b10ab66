"""Items that a plan may be made of, offered by what the trials and the catalogue say."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

from mitigation.models import PlanItem, Remedy
from mitigation.planning.contributions import shares_of
from mitigation.planning.items import measurands_of
from mitigation.planning.plans import Planning
from mitigation.planning.rows import PlanRow
from surveys.models import Appliance, Circuit, Room, Spot

Shares = Callable[[PlanRow], Mapping[str, float]]
LEAST_SHARE = 0.1
"""A source is worth a remedy where it makes more than this of a sleeping spot's field. [1]"""


@dataclass(frozen=True)
class Suggestion:
    """One kind at one source, or in one room; `share` is the most that the source makes there."""

    remedy: Remedy
    circuit: Circuit | None = None
    appliance: Appliance | None = None
    room: Room | None = None
    share: float | None = None

    @property
    def key(self) -> str:
        """By which a form names it."""
        place = self.circuit or self.appliance or self.room
        assert place is not None
        return f"{self.remedy.pk}-{place._meta.model_name}-{place.pk}"


def suggestions_of(
    planning: Planning, kinds: Iterable[Remedy], shares: Shares = shares_of
) -> list[Suggestion]:
    """Of `kinds` what the case does not have yet, the strongest source first: two queries."""
    known = [kind for kind in kinds if kind.effect_db is not None]
    suggestions = [*_at_sources(planning, known, shares), *_in_rooms(planning, known)]
    taken = {key for item in planning.item_rows for key in keys_of(item)}
    return [suggestion for suggestion in suggestions if suggestion.key not in taken]


def keys_of(item: PlanItem) -> list[str]:
    """The suggestions that an item makes needless."""
    places = [*item.circuits.all(), *item.appliances.all()]
    if item.remedy.acts_on == Remedy.ActsOn.SPOTS and item.room is not None:
        places.append(item.room)
    return [f"{item.remedy_id}-{place._meta.model_name}-{place.pk}" for place in places]


def _at_sources(planning: Planning, kinds: list[Remedy], shares_at: Shares) -> list[Suggestion]:
    home = planning.case.property_id
    circuits = {row.folded: row for row in Circuit.objects.at(home).order_by("-pk")}
    appliances = {row.folded: row for row in Appliance.objects.at(home)}
    strong: dict[str, dict[str, float]] = {}
    for row in planning.rows:
        if row.spot.use != Spot.Use.SLEEPING:
            continue
        for name, share in shares_at(row).items():
            if share > LEAST_SHARE:
                shares = strong.setdefault(name, {})
                shares[row.measurand] = max(share, shares.get(row.measurand, 0.0))
    suggestions = []
    for name in sorted(strong, key=lambda name: (-max(strong[name].values()), name)):
        circuit, appliance = circuits.get(name), appliances.get(name)
        wanted = Remedy.ActsOn.CIRCUITS if circuit else Remedy.ActsOn.APPLIANCES
        if circuit is None and appliance is None:
            continue  # a name that no row declares
        for kind in kinds:
            acted = measurands_of(kind) & strong[name].keys()
            if kind.acts_on == wanted and acted:
                share = max(strong[name][measurand] for measurand in acted)
                suggestions.append(
                    Suggestion(kind, circuit, None if circuit else appliance, share=share)
                )
    return suggestions


def _in_rooms(planning: Planning, kinds: list[Remedy]) -> list[Suggestion]:
    rooms: dict[Room, set[str]] = {}
    for row in planning.rows:
        if row.spot.use == Spot.Use.SLEEPING:
            rooms.setdefault(row.spot.room, set()).add(row.measurand)
    return [
        Suggestion(kind, room=room)
        for room, measurands in rooms.items()
        for kind in kinds
        if kind.acts_on == Remedy.ActsOn.SPOTS and measurands_of(kind) & measurands
    ]
