"""Rule comparable-2: what blocks a reduction, and what is said beside it."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from surveys.calc.measurands import ELECTRIC_FIELDS
from surveys.models import Measurand, Reading, Visit
from surveys.results import SpotFinding
from surveys.results.grounds import GroundFault

COMPARABLE = "comparable-2"

DIFFERENT_MEASURAND = "different measurand"
OUT_OF_CALIBRATION = "instrument out of calibration on the day of its visit"
NO_CERTIFICATE = "instrument without a certificate"
NO_READING = "no reading left at the other visit"
TOO_EARLY = "follow-up before baseline"
BEFORE_LAST_WORK = "measured before the last work was done"

HUMIDITY_LIMIT_PERCENT = 70.0
SUPPLY_CHANGE_LIMIT = 0.05
BODY_DISTANCE_M = 1.5
SURFACE_DISTANCE_M = 0.1


@dataclass(frozen=True)
class PairSide:
    """A finding with the visit that it was made at and the reading that stands for it."""

    finding: SpotFinding
    reading: Reading
    visit: Visit

    @property
    def ground_fault(self) -> GroundFault:
        """Why its ground point is faulty, if it is read against one."""
        if not Measurand(self.finding.measurand).has_ground_point:
            return GroundFault.NONE
        return self.finding.ground.fault


@dataclass(frozen=True)
class Pair:
    """One spot and measurand, each side at the visit that counts for it (rule latest-1)."""

    before: PairSide | None
    after: PairSide | None
    other_measurands: frozenset[str]  # what the side without this measurand has of the spot

    def sides(self) -> list[PairSide]:
        """The sides that were measured."""
        return [side for side in (self.before, self.after) if side is not None]


def blocks(pair: Pair) -> list[str]:
    """Reasons for which no reduction is given, in a fixed order."""
    reasons: list[str] = []
    sides = pair.sides()
    if pair.before is None or pair.after is None:
        is_other_method = sides[0].finding.measurand in ELECTRIC_FIELDS and (
            pair.other_measurands & ELECTRIC_FIELDS
        )
        reasons.append(DIFFERENT_MEASURAND if is_other_method else NO_READING)
    elif pair.after.visit.date < pair.before.visit.date:
        reasons.append(TOO_EARLY)
    findings = [side.finding for side in sides]
    if any(finding.out_of_date for finding in findings):
        reasons.append(OUT_OF_CALIBRATION)
    if any(not finding.certified and not finding.out_of_date for finding in findings):
        reasons.append(NO_CERTIFICATE)
    faults = dict.fromkeys(side.ground_fault for side in sides)
    return reasons + [fault.value for fault in faults if fault]


def cautions(pair: Pair, last_work: date | None = None) -> list[str]:
    """What a reader should know beside the figures, in a fixed order.

    `last_work` is the day of the last done item that serves the spot.
    """
    words = [*_of_both(pair), *_of_each(pair)]
    if last_work is not None and pair.after is not None and pair.after.visit.date < last_work:
        words.append(BEFORE_LAST_WORK)
    return list(dict.fromkeys(words))


def _of_both(pair: Pair) -> Iterator[str]:
    """What tells one side from the other."""
    before, after = pair.before, pair.after
    if before is None or after is None:
        return
    then, now = before.finding, after.finding
    if then.ground_point != now.ground_point:
        yield "other ground point"
    if now.n_readings < then.n_readings:
        yield "fewer readings than at the baseline"
    if now.n_ground_points < then.n_ground_points:
        yield "fewer ground points than at the baseline"
    if before.reading.instrument_id != after.reading.instrument_id:
        yield "other instrument"
    if _supply_differs(before.visit, after.visit):
        yield "supply voltage differs by more than 5 %"
    is_magnetic = then.measurand == Measurand.MAGNETIC_FLUX_DENSITY
    if is_magnetic and _words(before.reading.load) != _words(after.reading.load):
        yield "other load"


def _of_each(pair: Pair) -> Iterator[str]:
    """What holds of a side by itself, whether or not the other was measured."""
    for side in pair.sides():
        measurand, reading = Measurand(side.finding.measurand), side.reading
        is_magnetic = measurand is Measurand.MAGNETIC_FLUX_DENSITY
        if not is_magnetic and (side.visit.humidity_percent or 0) > HUMIDITY_LIMIT_PERCENT:
            yield "humidity above 70 %"
        if measurand is Measurand.ELECTRIC_FIELD_POTENTIAL_FREE:
            if _is_nearer(reading.body_distance_m, BODY_DISTANCE_M):
                yield "body nearer than 1.5 m"
            if _is_nearer(reading.surface_distance_m, SURFACE_DISTANCE_M):
                yield "surface nearer than 10 cm"
        if measurand.has_ground_point and not side.finding.ground_point:
            yield "no ground point named"
        elif measurand.has_ground_point and not side.finding.ground.is_tried:
            yield "ground point not tried at that visit"
        if reading.circuits_off:
            yield "circuits off while read as used"


def _supply_differs(baseline: Visit, follow_up: Visit) -> bool:
    first, second = baseline.supply_voltage_v, follow_up.supply_voltage_v
    if first is None or second is None or first <= 0:
        return False
    return abs(second - first) / first > SUPPLY_CHANGE_LIMIT


def _is_nearer(distance: float | None, limit: float) -> bool:
    return distance is not None and distance < limit


def _words(text: str) -> str:
    return " ".join(text.casefold().split())
