"""Cases as spreadsheets show them."""

from django.utils import timezone
from django.utils.translation import gettext as _

from consult.services.spreadsheets import Column
from mitigation.models import Stage


def case_columns() -> list[Column]:
    """What a spreadsheet says of a case."""
    return [
        (_("Case"), lambda case: case.reference),
        (_("Client"), lambda case: case.property.client.name),
        (_("Property"), lambda case: str(case.property)),
        (_("Stage"), lambda case: str(Stage(case.stage).label)),
        (_("Next move"), lambda case: case.next_move()),
        (_("Since"), lambda case: timezone.localdate(case.stage_since)),
        (_("Due on"), lambda case: case.due_on),
        (_("On hold because"), lambda case: case.on_hold_reason),
        (_("Round"), lambda case: case.round),
        (_("Guideline"), lambda case: case.guideline.code),
        (_("Target band"), lambda case: case.target_band),
    ]
