"""What follows for cases from visits and letters, which know no cases: each is a job."""

from datetime import date
from operator import itemgetter
from typing import Any

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import override

from consult.models import Letter, User
from consult.services.changes import save_row
from consult.services.jobs import Run
from mitigation.models import Case
from mitigation.models.stages import SURVEY_STAGES
from mitigation.services.cases import end_hold, go_on
from mitigation.services.evidence import follow_evidence
from mitigation.services.reminder_plans import plan_measuring_reminder
from mitigation.services.trial_fits import plan_sampling
from surveys.models import Visit


@transaction.atomic
def go_on_after_seal(arguments: dict[str, Any], run: Run) -> None:
    """The job after a seal."""
    visit = Visit.objects.select_related("sealed_by").get(pk=arguments["visit"])
    cases = Case.objects.filter(visits=visit)
    _take_on(cases, visit.sealed_by)
    _sample(cases)
    follow_evidence(cases=cases)


@transaction.atomic
def sample_again(arguments: dict[str, Any], run: Run) -> None:
    """The job after a sealed trial, or what is known of circuits, changed."""
    cases = Case.objects.filter(property=arguments["home"])
    _sample(cases)
    follow_evidence(cases=cases)


@transaction.atomic
def go_on_after_correction(arguments: dict[str, Any], run: Run) -> None:
    """The job after a sealed reading was corrected or set aside."""
    follow_evidence(cases=Case.objects.filter(visits=arguments["visit"]))


@transaction.atomic
def go_on_after_letter(arguments: dict[str, Any], run: Run) -> None:
    """The job after a letter was e-mailed or posted."""
    letter = Letter.objects.select_related("posted_by", "emailed_by").get(pk=arguments["letter"])
    ways = ((letter.emailed_at, letter.emailed_by), (letter.posted_at, letter.posted_by))
    _at, by = max((way for way in ways if way[0]), key=itemgetter(0), default=(None, None))
    _take_on(Case.objects.filter(case_letters__letter=letter), by)
    plan_measuring_reminder(letter)


def end_hold_on_its_day(arguments: dict[str, Any], run: Run) -> None:
    """The job of the day after a hold: the case is due again."""
    case = Case.objects.filter(pk=arguments["case"]).first()
    if case is not None:
        end_hold(case=case, until=date.fromisoformat(arguments["until"]), now=timezone.now())


@transaction.atomic
def move_due_day(arguments: dict[str, Any], run: Run) -> None:
    """The job after a visit was moved: a case that was due on its old day is due on its new one.

    A day that the office set itself stays.
    """
    visit = Visit.objects.get(pk=arguments["visit"])
    old_day = date.fromisoformat(arguments["old_day"])
    cases = Case.objects.filter(visits=visit, stage__in=SURVEY_STAGES, due_on=old_day)
    for case in cases.select_for_update(of=("self",)):
        case.due_on = visit.date
        latest = visit.history.select_related("history_user").first()
        save_row(row=case, by=latest and latest.history_user, fields=["due_on"])


def _sample(cases: QuerySet[Case]) -> None:
    for case in cases.select_related("property").order_by("pk"):
        plan_sampling(case)


def _take_on(cases: QuerySet[Case], by: User | None) -> None:
    """The history keeps the reason in the language of who did it."""
    now = timezone.now()
    with override(by.language if by else None):
        for case in cases.select_for_update():
            go_on(case=case, by=by, now=now)
