"""Rule comparable-1: what blocks a reduction, and what is said beside it."""

from dataclasses import dataclass

from surveys.calc.measurands import ELECTRIC_FIELDS
from surveys.models import Measurand, Reading, Visit
from surveys.results import SpotFinding

COMPARABLE = "comparable-1"

DIFFERENT_MEASURAND = "different measurand"
OUT_OF_CALIBRATION = "instrument out of calibration on the day of its visit"
NO_CERTIFICATE = "instrument without a certificate"
NO_READING = "no reading left at the other visit"

HUMIDITY_LIMIT_PERCENT = 70.0
SUPPLY_CHANGE_LIMIT = 0.05
BODY_DISTANCE_M = 1.5
SURFACE_DISTANCE_M = 0.1


@dataclass(frozen=True)
class Pair:
    """One spot and measurand at both visits, with the readings that stand for it."""

    before: SpotFinding | None
    after: SpotFinding | None
    before_reading: Reading | None
    after_reading: Reading | None
    other_measurands: frozenset[str]  # what the visit without this measurand read at the spot


def blocks(pair: Pair) -> list[str]:
    """Reasons for which no reduction is given, in a fixed order."""
    reasons = []
    if pair.before is None or pair.after is None:
        measured = pair.before or pair.after
        if (
            measured is not None
            and measured.measurand in ELECTRIC_FIELDS
            and pair.other_measurands & ELECTRIC_FIELDS
        ):
            reasons.append(DIFFERENT_MEASURAND)
        else:
            reasons.append(NO_READING)
    sides = [side for side in (pair.before, pair.after) if side is not None]
    if any(side.out_of_date for side in sides):
        reasons.append(OUT_OF_CALIBRATION)
    if any(not side.certified and not side.out_of_date for side in sides):
        reasons.append(NO_CERTIFICATE)
    return reasons


def cautions(pair: Pair, baseline: Visit, follow_up: Visit) -> list[str]:
    """What a reader should know beside the figure, in a fixed order; needs both sides."""
    before, after = pair.before, pair.after
    first, second = pair.before_reading, pair.after_reading
    if before is None or after is None or first is None or second is None:
        return []
    conditions = (
        (before.ground_point != after.ground_point, "other ground point"),
        (after.n_readings < before.n_readings, "fewer readings than at the baseline"),
        (
            after.n_ground_points < before.n_ground_points,
            "fewer ground points than at the baseline",
        ),
        (first.instrument_id != second.instrument_id, "other instrument"),
        (
            any((visit.humidity_percent or 0) > HUMIDITY_LIMIT_PERCENT
                for visit in (baseline, follow_up)),
            "humidity above 70 %",
        ),
        (_supply_differs(baseline, follow_up), "supply voltage differs by more than 5 %"),
        *_distances(before.measurand, first, second),
        (
            before.measurand == Measurand.MAGNETIC_FLUX_DENSITY
            and _words(first.load) != _words(second.load),
            "other load",
        ),
    )  # fmt: skip
    return [words for holds, words in conditions if holds]


def _supply_differs(baseline: Visit, follow_up: Visit) -> bool:
    first, second = baseline.supply_voltage_v, follow_up.supply_voltage_v
    if first is None or second is None or first <= 0:
        return False
    return abs(second - first) / first > SUPPLY_CHANGE_LIMIT


def _distances(measurand: str, *readings: Reading) -> list[tuple[bool, str]]:
    if measurand != Measurand.ELECTRIC_FIELD_POTENTIAL_FREE:
        return []
    bodies = [
        reading.body_distance_m for reading in readings if reading.body_distance_m is not None
    ]
    surfaces = [
        reading.surface_distance_m for reading in readings if reading.surface_distance_m is not None
    ]
    return [
        (any(distance < BODY_DISTANCE_M for distance in bodies), "body nearer than 1.5 m"),
        (any(distance < SURFACE_DISTANCE_M for distance in surfaces), "surface nearer than 10 cm"),
    ]


def _words(text: str) -> str:
    return " ".join(text.casefold().split())
