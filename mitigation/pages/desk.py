"""What the desk lists: what is due, who has the next move, what failed, what runs out."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.db.models import Count, Q, QuerySet

from consult.models import Letter, User
from mitigation.models import ENDS, NEXT_MOVE, Case, Stage
from mitigation.models.cases import CaseQuerySet
from surveys.models import Calibration, Visit
from surveys.results.certificates import falling_due

VISITS_AHEAD = timedelta(days=14)


@dataclass(frozen=True)
class StageLine:
    """How many cases stand at a stage, and who has to move them on."""

    stage: Stage
    n_cases: int
    n_held: int
    n_late: int

    @property
    def next_move(self) -> str:
        role = NEXT_MOVE[self.stage]
        return "" if role is None else str(User.Role(role).label)


def desk_lists(user: Any, today: date) -> dict[str, Any]:
    """What the desk lists, each from its first row to its last."""
    cases = Case.objects.visible_to(user)
    visits = Visit.objects.visible_to(user).filter(
        sealed_at__isnull=True, date__lte=today + VISITS_AHEAD
    )
    failed = Letter.objects.visible_to(user).filter(state=Letter.State.FAILED)
    return {
        "due": cases.for_list().due(today).order_by("due_on", "pk"),
        "visits": _with_case(visits),
        "stages": _stages(cases, today),
        "letters": failed.for_list(),
        "certificates": _running_out(today),
    }


def _stages(cases: CaseQuerySet, today: date) -> Sequence[StageLine]:
    """One query for all stages that go on, answered from one index."""
    late = Q(on_hold_reason="", due_on__lte=today)
    rows = {
        row["stage"]: row
        for row in cases.under_way()
        .order_by()
        .values("stage")
        .annotate(
            n=Count("stage"),
            held=Count("stage", filter=~Q(on_hold_reason="")),
            late=Count("stage", filter=late),
        )
    }
    none = {"n": 0, "held": 0, "late": 0}
    return [
        StageLine(stage, row["n"], row["held"], row["late"])
        for stage in Stage
        if stage not in ENDS
        for row in [rows.get(stage.value, none)]
    ]


def _with_case(visits: QuerySet[Visit]) -> QuerySet[Visit]:
    rows = visits.select_related("property__client").prefetch_related("cases")
    return rows.order_by("date", "position", "pk")


def _running_out(today: date) -> Sequence[Calibration]:
    """The certificates in force that end soon or have ended."""
    standings = falling_due(today)
    return [standing.calibration for standing in standings if standing.is_late or standing.is_soon]
