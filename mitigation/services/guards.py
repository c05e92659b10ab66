"""Notes of a case and what a letter proved stay as they are, by the database's own word."""

from consult.services.guards import Guard, guard
from mitigation.models import CaseLetter, Decision, Note, Outcome, Plan, Prediction

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
)  # fmt: skip
