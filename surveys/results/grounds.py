"""What is known of the ground points at a visit: which were found faulty, which were tried."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from surveys.calc import safety
from surveys.models import GroundCheck, Visit


class GroundFault(StrEnum):
    """Why a ground point is faulty, by what a reader of figures is told."""

    NONE = ""
    OUTLET = "ground point found faulty"
    VOLTAGE = "ground point at more than 50 V to another"


@dataclass(frozen=True)
class GroundState:
    """A ground point at one visit."""

    fault: GroundFault = GroundFault.NONE
    is_tried: bool = False


UNTRIED = GroundState()
VisitChecks = Mapping[int, Sequence[GroundCheck]]  # by the visit
GroundStates = Mapping[tuple[int, int], GroundState]  # by visit and ground point


def checks_at(visits: Sequence[Visit]) -> VisitChecks:
    """The ground checks of some visits, in the order in which they were made; one query."""
    checks: dict[int, list[GroundCheck]] = {visit.pk: [] for visit in visits}
    rows = GroundCheck.objects.filter(visit__in=visits).select_related("point", "other_point")
    for check in rows.order_by("pk"):
        checks[check.visit_id].append(check)
    return checks


def ground_states(checks: Iterable[GroundCheck]) -> dict[tuple[int, int], GroundState]:
    """Each ground point that was tried or found faulty, by visit and point (rule comparable-2).

    A fault found at a visit holds for all of it, even where a later check of that day was in order:
    nobody knows which readings came before the repair.
    """
    faults: dict[tuple[int, int], GroundFault] = {}
    tried: set[tuple[int, int]] = set()
    for check in checks:
        point, other = check.point_id, check.other_point_id
        tested = (check.visit_id, point)
        touched = [(check.visit_id, pk) for pk in (point, other) if pk is not None]
        if check.voltage_v is not None and other is not None:
            tried.update(touched)
        if check.outlet_test == check.OutletTest.OK:
            tried.add(tested)
        if check.outlet_test == check.OutletTest.FAULT:
            faults[tested] = GroundFault.OUTLET
        if is_far_apart(check):
            for key in touched:
                faults.setdefault(key, GroundFault.VOLTAGE)
    return {
        key: GroundState(faults.get(key, GroundFault.NONE), key in tried)
        for key in tried | faults.keys()
    }


def is_far_apart(check: GroundCheck) -> bool:
    """Whether more than 50 V were measured between the two points of a check."""
    volts = check.voltage_v
    return volts is not None and bool(safety.ground_points_differ(np.array([volts]))[0])
