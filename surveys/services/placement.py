"""What the practice's own repeat readings say about its placement uncertainty."""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np
from django.db.models import Count

from surveys.calc.measurands import MEASURANDS, Measurand
from surveys.calc.placement import Pooled, pooled_relative_sd
from surveys.models import Reading, Visit
from surveys.models.visits import ReadingQuerySet
from surveys.results import evaluate, read_columns

SAME = (
    "visit", "spot", "measurand", "instrument", "ground_point", "load", "height_m",
    "body_distance_m", "surface_distance_m",
)  # fmt: skip
MOST_VISITS = 200
FEW_DEGREES = 10


@dataclass(frozen=True)
class Repeated:
    """A spot that was read again and again."""

    reading: Reading
    n: int
    mean: float
    unit: str
    percent: float


@dataclass(frozen=True)
class OwnPlacement:
    """The pooled figure, how far it can be trusted, and the groups behind it."""

    percent: float
    degrees_of_freedom: int
    known_to_percent: float
    groups: Sequence[Repeated]

    @property
    def is_thin(self) -> bool:
        """Too few repeats to replace the house assumption."""
        return self.degrees_of_freedom < FEW_DEGREES


def own_placement(readings: ReadingQuerySet) -> OwnPlacement | None:
    """Pooled over the sealed readings as used, of the latest visits that repeated any.

    Readings are repeats of each other when nothing but the placement differs: spot, quantity,
    visit, instrument, ground point, distances and load are the same, all are plain values made of
    equally many axes, and none lies near the floor, where the last digit decides.
    """
    counted = readings.counted().filter(visit__sealed_at__isnull=False).order_by()
    repeated = counted.values(*SAME).annotate(n=Count("pk")).filter(n__gte=2)
    latest = Visit.objects.filter(pk__in=repeated.values("visit")).order_by("-date", "-pk")
    visits = list(latest[:MOST_VISITS])
    columns = read_columns(visits)
    if columns.pk.size == 0:
        return None
    # Bounds and placement play no part in the values.
    evaluated = evaluate(columns, np.ones((len(MEASURANDS), 3)) * [1.0, 2.0, 3.0], 0.0)
    result = evaluated.resultant
    plain = columns.counts & (result.qualifier == 0) & ~evaluated.near_floor & (result.value > 0)
    same = {row[0]: row[1:] for row in counted.filter(visit__in=visits).values_list("pk", *SAME)}
    rows = [row for row in np.flatnonzero(plain) if int(columns.pk[row]) in same]
    number: dict[Hashable, int] = {}
    group = np.array(
        [
            number.setdefault((*same[int(columns.pk[row])], int(result.axes[row])), len(number))
            for row in rows
        ],
        dtype=np.int64,
    )
    if not len(rows) or np.bincount(group).max() < 2:
        return None
    pooled = pooled_relative_sd(group, result.value[rows])
    first_of = {
        int(code): int(columns.pk[row]) for code, row in zip(group[::-1], rows[::-1], strict=True)
    }
    return _told(pooled, first_of)


def _told(pooled: Pooled, first_of: dict[int, int]) -> OwnPlacement:
    firsts = [first_of[int(number)] for number in pooled.group]
    known = Reading.objects.select_related("spot__room", "visit", "instrument").in_bulk(firsts)
    groups = [
        Repeated(
            reading=known[pk],
            n=int(pooled.n[place]),
            mean=float(pooled.mean[place]),
            unit=Measurand(known[pk].measurand).unit,
            percent=float(100 * pooled.group_relative_sd[place]),
        )
        for place, pk in enumerate(firsts)
    ]
    return OwnPlacement(
        percent=100 * pooled.relative_sd,
        degrees_of_freedom=pooled.degrees_of_freedom,
        known_to_percent=100 * pooled.relative_uncertainty,
        groups=sorted(groups, key=lambda group: -group.percent),
    )
