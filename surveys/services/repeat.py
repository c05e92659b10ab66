"""What a follow-up has to repeat, so that its readings can be set beside the baseline's."""

from collections.abc import Sequence
from dataclasses import dataclass

from surveys.models import Reading, Visit

Key = tuple[str, str, str, str, str]


@dataclass(frozen=True)
class ToRepeat:
    """A spot, what was read there, against which ground point, on which instrument."""

    room: str
    spot: str
    measurand: str
    ground_point: str
    instrument: str
    load: str = ""  # what was running, which a follow-up should have running too
    done: bool = False


def baseline_of(visit: Visit) -> Visit | None:
    """The visit that a follow-up repeats: the latest sealed baseline up to its day."""
    if visit.kind == Visit.Kind.BASELINE:
        return visit
    return (
        Visit.objects.filter(
            property=visit.property_id,
            kind=Visit.Kind.BASELINE,
            sealed_at__isnull=False,
            date__lte=visit.date,
        )
        .order_by("date", "-position", "-pk")
        .last()
    )


def to_repeat(visit: Visit, baseline: Visit) -> list[ToRepeat]:
    """One entry for each spot, measurand, ground point and instrument of the baseline's readings.

    Trials and readings that were set aside or corrected need no second time. On a follow-up
    `done` tells what it has already.
    """
    done = set() if visit == baseline else {_key(row) for row in _counted(visit)}
    loads: dict[Key, dict[str, None]] = {}
    for row in _counted(baseline):
        loads.setdefault(_key(row), {}).update({row.load: None} if row.load else {})
    return [
        ToRepeat(*key, load="; ".join(running), done=key in done) for key, running in loads.items()
    ]


def _counted(visit: Visit) -> Sequence[Reading]:
    return list(
        visit.readings.counted()
        .select_related("spot__room", "ground_point", "instrument")
        .order_by("position")
    )


def _key(row: Reading) -> Key:
    point = row.ground_point.name if row.ground_point else ""
    return row.spot.room.name, row.spot.name, row.measurand, point, row.instrument.name
