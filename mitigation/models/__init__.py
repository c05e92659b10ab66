"""The case with its stages, its outcomes, and the practice's own notes and files on it."""

from mitigation.models.appointments import Appointment, ProposedTime
from mitigation.models.attachments import Attachment
from mitigation.models.calendar_feeds import CalendarFeed
from mitigation.models.cases import Case, CaseVisit, CaseWord, FormerReference
from mitigation.models.drafts import LetterDraft
from mitigation.models.enquiries import Enquiry
from mitigation.models.evidence import CaseEvidence, KeptEffect, KeptPromise
from mitigation.models.letters import CaseLetter
from mitigation.models.notes import Note
from mitigation.models.outcomes import Outcome
from mitigation.models.plan_drafts import PlanDraft
from mitigation.models.plans import Decision, Plan, Prediction
from mitigation.models.remedies import PlanItem, Remedy
from mitigation.models.stages import DUE_DAYS, ENDS, MOVES, NEXT_MOVE, Stage
from mitigation.models.trial_fits import TrialFit
from mitigation.models.uploads import PendingUpload
from mitigation.models.work_orders import WorkItem, WorkOrder
from mitigation.models.work_reports import (
    TestInstrument,
    TestValue,
    WorkPhoto,
    WorkReport,
    WorkResult,
    WorksConfirmation,
)

__all__ = [
    "DUE_DAYS",
    "ENDS",
    "MOVES",
    "NEXT_MOVE",
    "Appointment",
    "Attachment",
    "CalendarFeed",
    "Case",
    "CaseEvidence",
    "CaseLetter",
    "CaseVisit",
    "CaseWord",
    "Decision",
    "Enquiry",
    "FormerReference",
    "KeptEffect",
    "KeptPromise",
    "LetterDraft",
    "Note",
    "Outcome",
    "PendingUpload",
    "Plan",
    "PlanDraft",
    "PlanItem",
    "Prediction",
    "ProposedTime",
    "Remedy",
    "Stage",
    "TestInstrument",
    "TestValue",
    "TrialFit",
    "WorkItem",
    "WorkOrder",
    "WorkPhoto",
    "WorkReport",
    "WorkResult",
    "WorksConfirmation",
]
