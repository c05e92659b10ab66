"""Notes of a case and what a letter proved stay as they are, by the database's own word."""

from consult.services.guards import Guard, guard
from mitigation.models import (
    Appointment,
    CaseLetter,
    Decision,
    Note,
    Outcome,
    Plan,
    Prediction,
    ProposedTime,
    TestValue,
    WorkReport,
    WorkResult,
    WorksConfirmation,
)

SIGNED = "A report that was signed is not changed."
OF_SIGNED = (
    'EXISTS (SELECT 1 FROM "mitigation_workreport" AS report'
    " WHERE report.id = OLD.report_id AND report.signed_at IS NOT NULL)"
)

guard(
    # Who wrote it may be forgotten with the person's row.
    Guard(Note, "A note is added and never changed.", fields=("case", "text", "written_at")),
    # It is written in one transaction with its letter, so nothing of it comes later.
    Guard(Outcome, "A frozen comparison is not changed."),
    Guard(CaseLetter, "What a letter is about is not changed."),
    Guard(
        Plan,
        "A plan that was offered is not changed.",
        fields=("case", "number", "content", "content_sha256", "valid_until", "offered_at"),
    ),
    Guard(Prediction, "What a plan promised is not changed."),
    Guard(
        Decision,
        "A decision stays as it was made.",
        fields=("plan", "answer", "option", "items", "content_sha256", "name", "words", "way",
                "decided_at"),
    ),
    # What the office made of it, and its letter, come later.
    Guard(
        WorkReport,
        SIGNED,
        rows="OLD.signed_at IS NOT NULL",
        fields=("order", "number", "reason", "remark", "signed_at", "signed_name", "licence",
                "order_sha256"),
    ),
    Guard(WorkResult, SIGNED, rows=OF_SIGNED),
    Guard(TestValue, SIGNED, rows=OF_SIGNED),
    Guard(
        Appointment,
        "What was proposed stays as it was.",
        fields=("order", "side", "asked", "minutes", "proposed_at"),
    ),
    Guard(
        Appointment,
        "An answer to a proposal stays as it was.",
        name="answer",
        rows="OLD.answered_at IS NOT NULL",
        fields=("answered_at", "starts_at", "ends_at"),
        verbs=("UPDATE",),
    ),
    Guard(ProposedTime, "What was proposed stays as it was."),
    Guard(
        WorksConfirmation,
        "What a client confirmed stays.",
        fields=("case", "items", "name", "words", "confirmed_at"),
    ),
)  # fmt: skip
