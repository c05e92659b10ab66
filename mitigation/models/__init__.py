"""The case with its stages, and its outcomes."""

from mitigation.models.cases import Case, CaseVisit
from mitigation.models.outcomes import Outcome
from mitigation.models.stages import MOVES, NEXT_MOVE, Stage

__all__ = ["MOVES", "NEXT_MOVE", "Case", "CaseVisit", "Outcome", "Stage"]
