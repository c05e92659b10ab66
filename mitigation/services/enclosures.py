"""The numbers of a letter as files in its PDF: the comparison as JSON, its readings as CSV."""

import json
from collections.abc import Mapping, Sequence
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import override

from consult.letters.enclosures import Enclosure, enclosed
from surveys.intake.sources import READINGS
from surveys.intake.writing import csv_table
from surveys.models import Reading, Visit
from surveys.services.corrections import corrections_at
from surveys.services.reading_rows import reading_rows, visit_names

OUTCOME, FINDINGS = "outcome.json", "findings.json"


def outcome_text(outcome: Mapping[str, Any]) -> str:
    """The comparison as strict JSON: a number that is not finite would be a defect."""
    return json.dumps(outcome, ensure_ascii=False, indent=2, allow_nan=False)


def numbers_enclosed(
    *, name: str, outcome: Mapping[str, Any], visits: Sequence[Visit], language: str
) -> dict[str, Any]:
    """The part of a letter's content that carries the numbers of `visits`."""
    readings = Reading.objects.filter(visit__in=visits)
    rows = reading_rows(readings, visit_names(visits), corrections_at(visits))
    with override(language):
        results = _("the results, unrounded") if name == OUTCOME else _("the findings, unrounded")
        sources = _("all readings")
    return enclosed(
        [
            Enclosure(name, "Data", results, outcome_text(outcome) + "\n"),
            Enclosure(READINGS, "Source", sources, csv_table(READINGS, rows)),
        ],
        language,
    )
