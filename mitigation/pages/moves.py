"""What somebody may do with a case as it stands."""

from collections.abc import Sequence
from dataclasses import dataclass

from consult.models import User
from mitigation.models import ENDS, MOVES, NEXT_MOVE, Case, Stage


@dataclass(frozen=True)
class Moves:
    """What somebody may do with a case as it stands."""

    onward: Sequence[Stage]
    may_decline: bool
    may_reopen: bool
    may_begin_round: bool
    may_hold: bool


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
    )
