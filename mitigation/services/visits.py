"""A visit of a case: planned in its round, at its property, by an assessor who may go there."""

from datetime import date, datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from consult.models import Assignment, Property, User
from consult.services.changes import save_row
from mitigation.models import ENDS, Case, CaseVisit, Stage
from mitigation.services.cases import move_case
from surveys.models import Visit
from surveys.services.visits import plan_visit


@transaction.atomic
def plan_case_visit(
    *,
    case: Case,
    kind: str,
    day: date,
    assessor: User,
    by: User,
    now: datetime,
    note: str = "",
) -> Visit:
    """Plan a visit; the assessor sees the property from now on, an enquiry becomes a survey.

    The very same visit again, while it is open, is the one that was planned.
    """
    if case.stage in ENDS:
        raise ValidationError(_("The case has ended. Reopen it before you plan a visit."))
    if assessor.role != User.Role.ASSESSOR or not assessor.is_active:
        raise ValidationError(_("A visit is made by an assessor who can log in."))
    Property.objects.select_for_update().get(pk=case.property_id)
    planned = case.visits.filter(
        kind=kind, date=day, assessor=assessor.name, note=note, sealed_at__isnull=True
    ).first()
    if planned is not None:  # a double click, or the page sent again
        return planned
    visit = plan_visit(
        home=case.property, kind=kind, day=day, by=by, assessor=assessor.name, note=note
    )
    CaseVisit.objects.create(case=case, visit=visit, round=case.round)
    if not Assignment.objects.filter(property=case.property, user=assessor).exists():
        save_row(row=Assignment(property=case.property, user=assessor), by=by)
    if case.stage == Stage.ENQUIRY and kind == Visit.Kind.BASELINE:
        move_case(case=case, to=Stage.BASELINE, by=by, now=now)
    if case.stage in (Stage.BASELINE, Stage.FOLLOW_UP) and case.due_on != day:
        case.due_on = day
        save_row(row=case, by=by, fields=["due_on"])
    return visit
