"""The client's side: where the case stands in plain words, letters, contact details."""

import datetime as dt

import pytest
from django.urls import reverse
from django.utils import timezone

from consult.models import Job
from consult.tasks import run_job
from mitigation.models import Case, CaseVisit, Stage
from mitigation.views.client_side import PLAIN
from tests.factories import (
    ClientFactory,
    UserFactory,
    VisitFactory,
    compared_case,
    issue_survey_report,
    ready_letter,
)
from tests.forms import opened

pytestmark = pytest.mark.django_db


@pytest.fixture
def case(client) -> Case:
    user = UserFactory(role="client", name="Ida Lund")
    client.force_login(user)
    return compared_case(property__client=ClientFactory(user=user, name="Ida Lund"))


def home(client) -> str:
    page = client.get(reverse("home"), follow=True)
    assert page.request["PATH_INFO"] == reverse("client_home")
    return page.content.decode()


@pytest.mark.parametrize("stage", Stage.values)
def test_every_stage_has_plain_words(stage, case, client) -> None:
    Case.objects.update(stage=stage)
    now, then = PLAIN[stage]
    shown = home(client)
    assert str(now) in shown
    assert str(then) in shown


def test_a_letter_that_lies_there_is_not_promised_any_more(case, client) -> None:
    letter = ready_letter(case)
    shown = home(client)
    assert letter.number in shown
    assert "will send you the outcome letter" not in shown
    assert "Your outcome letter is ready" in shown
    # A second round was measured after it: what was proved before is not its proof.
    sealed = VisitFactory(property=case.property, kind="follow-up", date=dt.date(2026, 7, 1))
    CaseVisit.objects.create(case=case, visit=sealed, round=2)
    assert "will send you the outcome letter" in home(client)
    ready_letter(case)
    assert "Your outcome letter is ready" in home(client)


def test_a_survey_report_of_another_case_is_no_report_of_this_one(case, client) -> None:
    Case.objects.filter(pk=case.pk).update(stage=Stage.FINDINGS)
    other = compared_case(property__client=case.property.client)
    for one, promised in ((other, True), (case, False)):
        letter = issue_survey_report(case=one, by=None, now=timezone.now())
        run_job(Job.objects.get(key__endswith=letter.number).pk)
        assert ("will send you the survey report" in home(client)) == promised
    assert "Your survey report is ready" in home(client)


def test_the_page_costs_the_same_for_one_case_and_for_many(
    case, client, django_assert_num_queries
) -> None:
    ready_letter(case)
    home(client)
    with django_assert_num_queries(60, exact=False) as one:
        home(client)
    for _time in range(4):
        ready_letter(compared_case(property__client=case.property.client))
    with django_assert_num_queries(len(one)):
        home(client)


def test_a_case_on_hold_is_paused_and_its_internal_reason_is_not_told(case, client) -> None:
    Case.objects.update(on_hold_reason="has not paid")
    shown = home(client)
    assert "paused" in shown
    assert "has not paid" not in shown


def test_own_letters_and_visits_are_shown_and_nobody_elses(case, client) -> None:
    letter, other = ready_letter(case), ready_letter(compared_case())
    day = timezone.localdate() + dt.timedelta(days=9)
    for home_of in (case, other):
        visit = VisitFactory(property=home_of.property, date=day, sealed_at=None)
        if home_of is case:
            CaseVisit.objects.create(case=case, visit=visit)
    shown = home(client)
    assert letter.number in shown
    assert other.number not in shown
    assert shown.count("Visit (") == 1


def test_contact_details_are_corrected_with_history(case, client) -> None:
    who = case.property.client
    fields = {"email": "ida@example.org", "phone": "0123", "address": "New Road 1"}
    said = opened(client, reverse("own_contact")) | fields
    assert client.post(reverse("own_contact"), said | {"name": "Mallory"}).status_code == 302
    who.refresh_from_db()
    assert (who.email, who.name) == ("ida@example.org", "Ida Lund")
    assert [row.phone for row in who.history.all()][:2] == ["0123", ""]
    assert client.post(reverse("own_contact"), fields | {"email": "nobody"}).status_code == 422


def test_a_client_chooses_the_language_of_pages_and_letters(case, client) -> None:
    client.post(reverse("own_language"), {"language": "de"})
    case.property.client.refresh_from_db()
    assert case.property.client.language == "de"


def test_pages_that_explain_are_open_to_the_client(case, client) -> None:
    for name in ("prepare", "glossary"):
        assert client.get(reverse(name)).status_code == 200
