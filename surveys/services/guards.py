"""A sealed visit with its readings and ground checks is not changed, by the database's own word.

A row more is let in: an import seals at once, and a correction adds a reading.
"""

from consult.services.guards import Guard, guard
from surveys.models import (
    ApplianceOff,
    CircuitOff,
    Correction,
    GroundCheck,
    LetterVisit,
    Reading,
    Visit,
)

SEALED = "A sealed visit is not changed."
OF_SEALED = (
    'EXISTS (SELECT 1 FROM "surveys_visit" AS visit'
    " WHERE visit.id = OLD.visit_id AND visit.sealed_at IS NOT NULL)"
)

OFF_AT_SEALED = (
    'EXISTS (SELECT 1 FROM "surveys_reading" AS reading'
    ' JOIN "surveys_visit" AS visit ON visit.id = reading.visit_id'
    " WHERE reading.id = OLD.reading_id AND visit.sealed_at IS NOT NULL)"
)

guard(
    Guard(Visit, SEALED, rows="OLD.sealed_at IS NOT NULL"),
    Guard(Reading, SEALED, rows=OF_SEALED),
    Guard(GroundCheck, SEALED, rows=OF_SEALED),
    # A link may come later, with the row that declares what a text names.
    Guard(CircuitOff, SEALED, rows=OFF_AT_SEALED),
    Guard(ApplianceOff, SEALED, rows=OFF_AT_SEALED),
    # Who made it may be forgotten with the person's row.
    Guard(
        Correction,
        "A correction is not changed.",
        fields=("reading", "replacement", "reason", "made_at"),
    ),
    Guard(LetterVisit, "What a letter reports is not changed."),
)
