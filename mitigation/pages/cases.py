"""Cases as spreadsheets show them."""

from collections.abc import Mapping, Sized

from django.utils import timezone
from django.utils.translation import gettext as _

from consult.services.spreadsheets import Column
from mitigation.models import Case, Stage
from mitigation.models.progress import Step


def not_yet(*parts: tuple[Sized, str]) -> list[str]:
    """The words for the parts of a page in which nothing stands: they take one line together."""
    return [words for rows, words in parts if not len(rows)]


def case_columns(steps: Mapping[int, Step]) -> list[Column]:
    """What a spreadsheet says of a case; `steps` has the next one of each."""

    def role(case: Case) -> str | None:
        return steps[case.pk].role_label() if case.pk in steps else None

    def words(case: Case) -> str | None:
        return str(steps[case.pk].words) if case.pk in steps else None

    return [
        (_("Case"), lambda case: case.reference),
        (_("Client"), lambda case: case.property.client.name),
        (_("Property"), lambda case: str(case.property)),
        (_("Stage"), lambda case: str(Stage(case.stage).label)),
        (_("Next move"), role),
        (_("Next step"), words),
        (_("Since"), lambda case: timezone.localdate(case.stage_since)),
        (_("Due on"), lambda case: case.due_on),
        (_("On hold because"), lambda case: case.on_hold_reason),
        (_("On hold until"), lambda case: case.on_hold_until),
        (_("Round"), lambda case: case.round),
        (_("Guideline"), lambda case: case.guideline.code),
        (_("Target band"), lambda case: case.target_band),
    ]
