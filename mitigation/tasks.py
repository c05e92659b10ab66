"""The doors through which Celery comes into cases."""

from consult.services import jobs
from consult.services.sending import LETTER_SENT
from mitigation.services import (
    attachments,
    drafts,
    evidence,
    following,
    offers,
    reminder_plans,
    reminders,
    trial_fits,
    uploads,
)
from mitigation.services.cases import HOLD_OVER
from surveys.services.corrections import READING_CORRECTED
from surveys.services.trial_changes import TRIALS_CHANGED
from surveys.services.visits import VISIT_MOVED, VISIT_SEALED

for kind, work in (
    (uploads.CHECK_UPLOAD, uploads.check_upload),
    (uploads.IMPORT_UPLOAD, uploads.import_upload),
):
    jobs.register(
        kind,
        work,
        about={"upload": "mitigation.PendingUpload"},
        repeatable=True,
        limit_s=50,
        when_dead=uploads.upload_failed,
    )
jobs.register(uploads.DROP_UPLOADS, uploads.drop_uploads, about={}, repeatable=True, limit_s=30)
jobs.register(
    VISIT_SEALED,
    following.go_on_after_seal,
    about={"visit": "surveys.Visit"},
    repeatable=True,
    limit_s=10,
)
jobs.register(
    VISIT_MOVED,
    following.move_due_day,
    about={"visit": "surveys.Visit", "old_day": None},
    repeatable=True,
    limit_s=10,
)
jobs.register(
    TRIALS_CHANGED,
    following.sample_again,
    about={"home": "consult.Property"},
    repeatable=True,
    limit_s=30,
)
jobs.register(
    READING_CORRECTED,
    following.go_on_after_correction,
    about={"visit": "surveys.Visit"},
    repeatable=True,
    limit_s=10,
)
jobs.register(
    evidence.KEEP_EVIDENCE,
    evidence.keep_evidence_of,
    about={"case": "mitigation.Case"},
    repeatable=True,
    limit_s=30,
)
jobs.register(
    evidence.KEEP_ALL_EVIDENCE,
    evidence.keep_all_evidence,
    about={},
    repeatable=True,
    limit_s=50,
)
jobs.register(
    LETTER_SENT,
    following.go_on_after_letter,
    about={"letter": "consult.Letter"},
    repeatable=True,
    limit_s=10,
)
jobs.register(
    HOLD_OVER,
    following.end_hold_on_its_day,
    about={"case": "mitigation.Case", "until": None},
    repeatable=True,
    limit_s=10,
)
jobs.register(
    attachments.CLEAN_PICTURE,
    attachments.clean_picture,
    about={"attachment": "mitigation.Attachment"},
    repeatable=True,
    limit_s=50,
    when_dead=attachments.picture_given_up,
)
jobs.register(
    attachments.DRAW_SKETCH,
    attachments.draw_sketch,
    about={"attachment": "mitigation.Attachment"},
    repeatable=True,
    limit_s=50,
)
jobs.register(
    drafts.MAKE_DRAFT,
    drafts.make_draft,
    about={"draft": "mitigation.LetterDraft"},
    repeatable=True,
    limit_s=50,
    when_dead=drafts.draft_failed,
)
jobs.register(
    drafts.DROP_DRAFT,
    drafts.drop_draft,
    about={"draft": "mitigation.LetterDraft"},
    repeatable=True,
    limit_s=10,
)
jobs.register(
    trial_fits.SAMPLE_TRIALS,
    trial_fits.sample_trials,
    about={"case": "mitigation.Case"},
    repeatable=True,
    limit_s=50,
)
jobs.register(
    offers.SEND_OFFER,
    offers.send_offer,
    # Jobs of before named the plan, and how often its letter was looked at.
    about={"letter": "consult.Letter", "plan": "mitigation.Plan", "look": None},
    repeatable=True,
    limit_s=20,
)
jobs.register(
    offers.REMIND_OFFER,
    offers.remind_offer,
    about={"plan": "mitigation.Plan", "days": None},
    repeatable=True,
    limit_s=20,
)
for kind, remind, about in (
    (
        reminder_plans.REMIND_APPOINTMENT,
        reminders.remind_appointment,
        {"appointment": "mitigation.Appointment"},
    ),
    (
        reminder_plans.REMIND_ORDER,
        reminders.remind_order,
        {"order": "mitigation.WorkOrder", "sheet": None},
    ),
    (
        reminder_plans.REMIND_PROPOSAL,
        reminders.remind_proposal,
        {"appointment": "mitigation.Appointment"},
    ),
    (
        reminder_plans.REMIND_MEASURING,
        reminders.remind_measuring,
        {"case": "mitigation.Case", "letter": "consult.Letter"},
    ),
):
    jobs.register(kind, remind, about=about, repeatable=True, limit_s=20)

__all__ = [
    "HOLD_OVER",
    "LETTER_SENT",
    "READING_CORRECTED",
    "TRIALS_CHANGED",
    "VISIT_MOVED",
    "VISIT_SEALED",
    "attachments",
    "drafts",
    "evidence",
    "following",
    "offers",
    "reminders",
    "trial_fits",
    "uploads",
]
