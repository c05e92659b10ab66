"""Where a case stands, and where it may go from there."""

from django.db import models
from django.utils.translation import gettext_lazy as _

from consult.models import User


class Stage(models.TextChoices):
    ENQUIRY = "enquiry", _("enquiry")
    BASELINE = "baseline", _("baseline survey")
    FINDINGS = "findings", _("findings")
    PLAN = "plan", _("plan of remedies")
    DECISION = "decision", _("client decides")
    WORKS = "works", _("electrician works")
    FOLLOW_UP = "follow-up", _("follow-up survey")
    PROOF = "proof", _("proof")
    CLOSED = "closed", _("closed")
    DECLINED = "declined", _("declined")


MOVES: dict[str, frozenset[str]] = {
    Stage.ENQUIRY: frozenset({Stage.BASELINE, Stage.DECLINED}),
    Stage.BASELINE: frozenset({Stage.FINDINGS, Stage.DECLINED}),
    Stage.FINDINGS: frozenset({Stage.PLAN, Stage.CLOSED, Stage.DECLINED}),
    Stage.PLAN: frozenset({Stage.DECISION, Stage.DECLINED}),
    Stage.DECISION: frozenset({Stage.PLAN, Stage.WORKS, Stage.DECLINED}),
    Stage.WORKS: frozenset({Stage.FOLLOW_UP, Stage.DECLINED}),
    Stage.FOLLOW_UP: frozenset({Stage.PROOF, Stage.DECLINED}),
    # A second round begins with a new plan when the follow-up did not reach the target.
    Stage.PROOF: frozenset({Stage.CLOSED, Stage.PLAN}),
    Stage.CLOSED: frozenset({Stage.FINDINGS, Stage.PLAN}),
    Stage.DECLINED: frozenset({Stage.ENQUIRY, Stage.FINDINGS}),
}

# Who takes the case on from a stage; nobody from the two ends. Single steps: progress.py.
NEXT_MOVE: dict[str, str | None] = {
    Stage.ENQUIRY: User.Role.OFFICE,
    Stage.BASELINE: User.Role.ASSESSOR,
    Stage.FINDINGS: User.Role.OFFICE,
    Stage.PLAN: User.Role.ASSESSOR,
    Stage.DECISION: User.Role.CLIENT,
    Stage.WORKS: User.Role.ELECTRICIAN,
    Stage.FOLLOW_UP: User.Role.ASSESSOR,
    Stage.PROOF: User.Role.OFFICE,
    Stage.CLOSED: None,
    Stage.DECLINED: None,
}

# Days until a case is due after it came to a stage: a house assumption, changed on each case.
DUE_DAYS: dict[str, int | None] = {
    Stage.ENQUIRY: 3,
    Stage.BASELINE: 14,
    Stage.FINDINGS: 7,
    Stage.PLAN: 10,
    Stage.DECISION: 21,
    Stage.WORKS: 42,
    Stage.FOLLOW_UP: 21,
    Stage.PROOF: 7,
    Stage.CLOSED: None,
    Stage.DECLINED: None,
}
ENDS = frozenset({Stage.CLOSED, Stage.DECLINED})
# Due on the day of their visit.
SURVEY_STAGES = (Stage.BASELINE, Stage.FOLLOW_UP)
