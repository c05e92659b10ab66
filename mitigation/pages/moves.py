"""What somebody may do with a case as it stands, and what they have to."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.db.models import QuerySet

from consult.models import User
from mitigation.models import ENDS, MOVES, NEXT_MOVE, Case, Stage
from mitigation.models.progress import Step, may_skip_to, next_step
from mitigation.services.progress import facts_of


@dataclass(frozen=True)
class Moves:
    """What somebody may do with a case as it stands."""

    onward: Sequence[Stage]
    may_decline: bool
    may_reopen: bool
    may_begin_round: bool
    may_hold: bool
    skips: Sequence[Stage] = field(default=())  # over stages that nothing was done for


def moves_of(case: Case, role: str) -> Moves:
    """Nothing moves while the case is on hold; all but the office wait for their turn."""
    held, ended = bool(case.on_hold_reason), case.stage in ENDS
    allowed = [] if held else [stage for stage in Stage if stage in MOVES[case.stage]]
    proved = case.stage in (Stage.PROOF, Stage.CLOSED) and not held
    onward = [stage for stage in allowed if stage != Stage.DECLINED]
    if proved:  # a plan after a proof is a new round
        onward = [stage for stage in onward if stage != Stage.PLAN]
    if role != User.Role.OFFICE:
        return Moves(onward if NEXT_MOVE[case.stage] == role else [], False, False, False, False)
    return Moves(
        onward=onward,
        may_decline=Stage.DECLINED in allowed,
        may_reopen=ended,
        may_begin_round=proved,
        may_hold=not held and not ended,
        skips=[] if held else may_skip_to(case.stage),
    )


def steps_of(cases: Iterable[Case], *, now: datetime) -> dict[int, Step]:
    """The next step of each case by its key, in three queries; none at the ends and on hold.

    Of a queryset, however long, only the stages are fetched.
    """
    keys: Collection[int] | QuerySet[Any]
    if isinstance(cases, QuerySet):
        keys = cases.order_by().values("pk")
        cases = cases.select_related(None).only("stage", "on_hold_reason")
    else:
        keys = [case.pk for case in cases]
    facts = facts_of(keys, now=now)
    steps = {
        case.pk: next_step(case.stage, set(facts.get(case.pk, ())))
        for case in cases
        if not case.on_hold_reason
    }
    return {pk: step for pk, step in steps.items() if step is not None}
