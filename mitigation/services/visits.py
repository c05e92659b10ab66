"""A visit of a case: planned in its round, at its property, by an assessor who may go there."""

from datetime import date, datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from consult.models import Property, User
from consult.services.changes import LONGEST_REASON, save_row
from mitigation.models import ENDS, Case, CaseVisit
from mitigation.models.stages import SURVEY_STAGES
from mitigation.services.cases import due_after, go_on
from surveys.models import Visit
from surveys.services.assessors import assessor_named, refuse_no_assessor
from surveys.services.visits import plan_visit, remove_visit


@transaction.atomic
def plan_case_visit(
    *,
    case: Case,
    kind: str,
    day: date,
    assessor: User | None,
    by: User,
    now: datetime,
    outside: str = "",
    instructions: str = "",
) -> Visit:
    """Plan a visit by an assessor, who sees the property from now on, or by somebody `outside`.

    The case comes to the survey.
    The very same visit again, while it is open, is the one that was planned.
    """
    if case.stage in ENDS:
        raise ValidationError(_("The case has ended. Reopen it before you plan a visit."))
    assessor = assessor or assessor_named(outside)
    if assessor is not None:
        refuse_no_assessor(assessor)
    name = assessor.name if assessor else outside
    Property.objects.select_for_update().get(pk=case.property_id)
    if kind == Visit.Kind.FOLLOW_UP:
        _refuse_before_baseline(case, day)
    planned = case.visits.filter(
        kind=kind, date=day, measured_by=assessor, assessor=name,
        sealed_at__isnull=True,
        instructions=instructions,
    ).first()  # fmt: skip
    if planned is not None:  # a double click, or the page sent again
        return planned
    visit = plan_visit(
        home=case.property, kind=kind, day=day, by=by, assessor=name,
        measured_by=assessor, instructions=instructions,
    )  # fmt: skip
    CaseVisit.objects.create(case=case, visit=visit, round=case.round)
    go_on(case=case, by=by, now=now)
    if case.stage in SURVEY_STAGES and case.due_on != day:
        case.due_on = day
        save_row(row=case, by=by, fields=["due_on"])
    return visit


def _refuse_before_baseline(case: Case, day: date) -> None:
    """A follow-up is compared with the latest baseline, so it cannot come before it."""
    sealed = case.visits.filter(kind=Visit.Kind.BASELINE, sealed_at__isnull=False)
    latest = sealed.order_by("date").last()
    if latest is not None and day < latest.date:
        raise ValidationError(
            {
                "day": _("A day not before the baseline of %(day)s.")
                % {"day": date_format(latest.date, "DATE_FORMAT")}
            }
        )


@transaction.atomic
def call_off_visit(*, case: Case, visit: Visit, by: User, now: datetime, reason: str) -> None:
    """Take away a planned visit that will not be; the case is due when its next one is, or soon."""
    if not reason.strip():
        raise ValidationError(_("Say why."))
    Property.objects.select_for_update().get(pk=case.property_id)
    CaseVisit.objects.filter(visit=visit).delete()
    remove_visit(visit=visit, by=by, reason=reason.strip()[:LONGEST_REASON])
    case.refresh_from_db()
    go_on(case=case, by=by, now=now)  # perhaps it was the last that the survey waited for
    if case.stage in SURVEY_STAGES and case.due_on == visit.date:
        following = case.visits.filter(sealed_at=None).order_by("date").first()
        case.due_on = following.date if following else due_after(case.stage, now)
        save_row(row=case, by=by, fields=["due_on"])
