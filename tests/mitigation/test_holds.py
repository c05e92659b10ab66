"""A case on hold until a day: due again by itself after it, and its visits marked meanwhile."""

import datetime as dt
import io

import pytest
import python_calamine
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format

from consult.models import Job
from consult.tasks import run_job
from mitigation.models import Case, CaseVisit, Stage
from mitigation.services import cases
from tests.factories import CaseFactory, UserFactory, VisitFactory

pytestmark = pytest.mark.django_db
NOW = dt.datetime(2026, 5, 4, 9, 0, tzinfo=dt.UTC)
TODAY = dt.date(2026, 5, 4)
DAY = dt.timedelta(days=1)


@pytest.fixture
def office(client):
    user = UserFactory()
    client.force_login(user)
    return user


def held(until=TODAY + 3 * DAY, **fields):
    case = CaseFactory(**({"stage": Stage.PLAN, "due_on": TODAY} | fields))
    return cases.hold_case(case=case, reason="Holidays", until=until, by=None, now=NOW)


def job_of(case):
    return Job.objects.get(kind=cases.HOLD_OVER, arguments__case=case.pk)


def test_the_job_waits_for_the_first_moment_after_the_day():
    job = job_of(held())
    moment = timezone.localtime(job.run_after)
    assert (moment.date(), moment.hour, moment.minute) == (TODAY + 4 * DAY, 0, 0)


def test_after_the_day_the_case_is_due_by_itself():
    case = held()
    today = timezone.localdate()
    assert list(Case.objects.due(today)) == []
    run_job(job_of(case).pk)
    case.refresh_from_db()
    assert (case.on_hold_reason, case.on_hold_until, case.due_on) == ("", None, today)
    assert list(Case.objects.due(today)) == [case]
    assert [row.on_hold_until for row in case.history.all()] == [None, TODAY + 3 * DAY, None]
    assert case.history.first().history_user is None


def test_a_hold_that_somebody_ended_or_made_anew_is_left_alone():
    resumed, again = held(), held()
    for case in (resumed, again):
        cases.resume_case(case=case, by=None, now=NOW)
    cases.hold_case(case=again, reason="Landlord", until=TODAY + 9 * DAY, by=None, now=NOW)
    day = resumed.due_on
    for job in Job.objects.filter(
        kind=cases.HOLD_OVER, arguments__until=(TODAY + 3 * DAY).isoformat()
    ):
        run_job(job.pk)
    resumed.refresh_from_db()
    again.refresh_from_db()
    assert resumed.due_on == day != timezone.localdate()
    assert (again.on_hold_reason, again.on_hold_until) == ("Landlord", TODAY + 9 * DAY)


def test_a_day_that_is_over_is_refused_and_today_is_not():
    case = CaseFactory(stage=Stage.PLAN)
    with pytest.raises(ValidationError, match="today or a later day"):
        cases.hold_case(case=case, reason="Holidays", until=TODAY - DAY, by=None, now=NOW)
    assert Case.objects.get(pk=case.pk).on_hold_reason == ""
    assert held(until=TODAY).on_hold_until == TODAY


def test_a_day_without_a_reason_is_refused_by_the_database():
    case = CaseFactory()
    with pytest.raises(IntegrityError), transaction.atomic():
        Case.objects.filter(pk=case.pk).update(on_hold_until=TODAY)


def test_form_and_page_of_the_case(client, office):
    case = CaseFactory(stage=Stage.PLAN)
    url = reverse("case_act", args=[case.reference, "hold"])
    until = timezone.localdate() + 5 * DAY
    page = client.post(url, {"reason": "Holidays", "until": "soon"}, follow=True)
    assert "Enter a valid date." in page.content.decode()
    case.refresh_from_db()
    assert case.on_hold_reason == ""
    words = client.post(url, {"reason": "Holidays", "until": until.isoformat()}, follow=True)
    case.refresh_from_db()
    assert case.on_hold_until == until
    shown = f"On hold until {date_format(until)}:</strong> Holidays."
    assert shown in words.content.decode()


def test_visits_of_held_cases_are_marked_on_the_desk(client, office):
    today = timezone.localdate()
    resting, going = (CaseFactory(stage=Stage.BASELINE) for _ in range(2))
    for case in (resting, going):
        visit = VisitFactory(property=case.property, date=today, sealed_at=None)
        CaseVisit.objects.create(case=case, visit=visit)
    cases.hold_case(case=resting, reason="Ladder", until=None, by=None, now=timezone.now())
    page = client.get(reverse("desk")).content.decode()
    visits = page.partition("Visits of the next two weeks")[2].partition("Letters that failed")[0]
    first, second = (visits.partition(case.reference)[2] for case in (resting, going))
    assert "on hold" in first.partition("</small>")[0]
    assert "on hold" not in second.partition("</small>")[0]
    book = python_calamine.load_workbook(io.BytesIO(client.get(reverse("desk_export")).content))
    rows = book.get_sheet_by_name("Visits of the next two weeks").to_python()
    assert {row[2]: row[6] for row in rows[1:]} == {
        resting.reference: "Ladder",
        going.reference: "",
    }
