"""What was done in a case, the stage that each of it leads to, and the next step at each stage."""

from dataclasses import dataclass

from django.db import models
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from consult.models import User
from mitigation.models.stages import ENDS, Stage


class Fact(models.TextChoices):
    """Something done in a case; each is told by rows and never entered for itself."""

    BASELINE_PLANNED = "baseline planned", _("baseline visit planned")
    BASELINE_SEALED = "baseline sealed", _("baseline visit sealed")
    REPORT_ISSUED = "report issued", _("survey report issued")
    REPORT_SENT = "report sent", _("survey report sent")
    PLAN_OFFERED = "plan offered", _("plan offered")
    PLAN_ACCEPTED = "plan accepted", _("plan accepted")
    PLAN_DECLINED = "plan declined", _("plan declined")
    ORDERS_SENT = "orders sent", _("works ordered")
    WORKS_REPORTED = "works reported", _("works reported")
    REPORTS_ACCEPTED = "reports accepted", _("reports on the works accepted")
    WORKS_DONE = "works done", _("works done")
    FOLLOW_UP_PLANNED = "follow-up planned", _("follow-up visit planned")
    FOLLOW_UP_SEALED = "follow-up sealed", _("follow-up visit sealed")
    OUTCOME_ISSUED = "outcome issued", _("outcome letter issued")
    OUTCOME_SENT = "outcome sent", _("outcome letter sent")


# A case goes forward to the stage of what was done, over any stages between, and never back.
LEADS_TO: dict[Fact, Stage] = {
    Fact.BASELINE_PLANNED: Stage.BASELINE,
    Fact.BASELINE_SEALED: Stage.FINDINGS,
    Fact.REPORT_SENT: Stage.PLAN,
    Fact.PLAN_OFFERED: Stage.DECISION,
    Fact.PLAN_ACCEPTED: Stage.WORKS,
    Fact.WORKS_DONE: Stage.FOLLOW_UP,
    Fact.FOLLOW_UP_PLANNED: Stage.FOLLOW_UP,
    Fact.FOLLOW_UP_SEALED: Stage.PROOF,
    Fact.OUTCOME_SENT: Stage.PROOF,
}


@dataclass(frozen=True)
class Step:
    """Something that one role has to do, until it is done."""

    role: str
    words: str | Promise
    done_by: Fact | None = None  # without one it is the last step of its stage

    def role_label(self) -> str:
        return str(User.Role(self.role).label)


OFFICE, ASSESSOR = User.Role.OFFICE, User.Role.ASSESSOR
# The first step that is not done is the next.
STEPS: dict[Stage, tuple[Step, ...]] = {
    Stage.ENQUIRY: (Step(OFFICE, _("plan the baseline visit")),),
    Stage.BASELINE: (
        Step(OFFICE, _("plan the baseline visit"), Fact.BASELINE_PLANNED),
        Step(ASSESSOR, _("measure and seal the baseline visit")),
    ),
    Stage.FINDINGS: (
        Step(OFFICE, _("issue the survey report and send it"), Fact.REPORT_ISSUED),
        Step(OFFICE, _("send the survey report"), Fact.REPORT_SENT),
        Step(OFFICE, _("take the case on to the plan of remedies, or close it")),
    ),
    Stage.PLAN: (Step(ASSESSOR, _("propose remedies")),),
    Stage.DECISION: (
        Step(User.Role.CLIENT, _("decide on the remedies"), Fact.PLAN_DECLINED),
        Step(OFFICE, _("offer another plan, or close the case")),
    ),
    Stage.WORKS: (
        Step(OFFICE, _("order the works"), Fact.ORDERS_SENT),
        Step(User.Role.ELECTRICIAN, _("carry out the work"), Fact.WORKS_REPORTED),
        Step(OFFICE, _("look at the report on the works"), Fact.REPORTS_ACCEPTED),
        Step(User.Role.CLIENT, _("say when their own part is done")),
    ),
    Stage.FOLLOW_UP: (
        Step(OFFICE, _("plan the follow-up visit"), Fact.FOLLOW_UP_PLANNED),
        Step(ASSESSOR, _("measure and seal the follow-up visit")),
    ),
    Stage.PROOF: (
        Step(OFFICE, _("issue the outcome letter and send it"), Fact.OUTCOME_ISSUED),
        Step(OFFICE, _("send the outcome letter"), Fact.OUTCOME_SENT),
        Step(OFFICE, _("close the case or begin another round")),
    ),
}

_ORDER = {stage: number for number, stage in enumerate(Stage)}


def is_later(stage: str, than: str) -> bool:
    """Whether a case that goes on comes to `stage` after `than`."""
    return _ORDER[Stage(stage)] > _ORDER[Stage(than)]


def skipped(old: str, new: str) -> list[Stage]:
    """The stages that a case passes over on its way from `old` to `new`; none on a way back."""
    if Stage.DECLINED in (old, new):
        return []
    return [stage for stage in Stage if is_later(stage, old) and is_later(new, stage)]


def may_skip_to(stage: str) -> list[Stage]:
    """The stages that somebody may take a case to by hand, over others."""
    if stage in ENDS or stage not in Stage.values:
        return []
    return [later for later in Stage if later not in ENDS and skipped(stage, later)]


def stage_reached(facts: set[Fact], stage: Stage) -> tuple[Stage, Fact | None]:
    """Where `facts` take a case from `stage`, and the one that does; an end is never left."""
    reached: tuple[Stage, Fact | None] = (stage, None)
    if stage in ENDS:
        return reached
    for fact, to in LEADS_TO.items():
        if fact in facts and is_later(to, reached[0]):
            reached = to, fact
    return reached


def next_step(stage: str, facts: set[Fact]) -> Step | None:
    """What has to be done for the case to go on; None at its ends."""
    steps = STEPS.get(Stage(stage), ())
    return next((step for step in steps if step.done_by not in facts), None)
