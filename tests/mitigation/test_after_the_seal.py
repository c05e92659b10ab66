"""Once a survey is sealed the case goes on by itself, and tells whose turn it is."""

import datetime as dt

import pytest
from django.urls import reverse

from consult.models import Job
from consult.tasks import run_job
from mitigation.models import Case, CaseVisit, Stage
from mitigation.services.cases import hold_case, resume_case
from mitigation.tasks import VISIT_SEALED  # the tasks register the jobs
from surveys.models import Visit
from surveys.services import visits
from tests.factories import CaseFactory, UserFactory, VisitFactory, assign

pytestmark = pytest.mark.django_db
BEFORE = dt.datetime(2026, 5, 4, 9, 0, tzinfo=dt.UTC)
NOW = dt.datetime(2026, 6, 1, 9, 0, tzinfo=dt.UTC)


@pytest.fixture(autouse=True)
def _nothing_is_missing(monkeypatch: pytest.MonkeyPatch) -> None:
    """What a seal asks of a visit is tried elsewhere."""
    monkeypatch.setattr(visits, "missing_before_sealing", lambda visit, today: [])


def planned(case: Case, kind: str) -> Visit:
    visit = VisitFactory(property=case.property, kind=kind, sealed_at=None)
    CaseVisit.objects.create(case=case, visit=visit)
    return visit


def seal(visit: Visit) -> Job:
    visits.seal_visit(visit=visit, by=UserFactory(role="assessor"), now=NOW)
    job = Job.objects.get(kind=VISIT_SEALED, arguments={"visit": visit.pk})
    run_job(job.pk)
    job.refresh_from_db()
    return job


@pytest.mark.parametrize(
    ("kind", "before", "after"),
    [
        ("baseline", Stage.BASELINE, Stage.FINDINGS),
        ("follow-up", Stage.FOLLOW_UP, Stage.PROOF),
        ("follow-up", Stage.WORKS, Stage.PROOF),
        ("follow-up", Stage.PLAN, Stage.PROOF),
        ("baseline", Stage.PLAN, Stage.PLAN),  # somebody moved it on already
        ("follow-up", Stage.CLOSED, Stage.CLOSED),
    ],
)
def test_a_case_goes_on_from_the_survey_that_it_waited_for(kind, before, after) -> None:
    case = CaseFactory(stage=before, opened_at=BEFORE)
    visit = planned(case, kind)
    assert seal(visit).state == "done"
    case.refresh_from_db()
    assert case.stage == after
    if after != before:
        assert case.history.first().history_user == Visit.objects.get(pk=visit.pk).sealed_by


def test_a_survey_of_two_visits_is_done_with_the_second() -> None:
    case = CaseFactory(stage=Stage.BASELINE, opened_at=BEFORE)
    first, second = planned(case, "baseline"), planned(case, "baseline")
    seal(first)
    assert Case.objects.get(pk=case.pk).stage == Stage.BASELINE
    seal(second)
    assert Case.objects.get(pk=case.pk).stage == Stage.FINDINGS


def test_a_case_on_hold_rests_until_it_is_resumed() -> None:
    case = CaseFactory(stage=Stage.BASELINE, opened_at=BEFORE)
    visit = planned(case, "baseline")
    hold_case(case=case, reason="away", by=None, now=NOW)
    assert seal(visit).state == "done"
    assert Case.objects.get(pk=case.pk).stage == Stage.BASELINE
    case.refresh_from_db()
    resume_case(case=case, by=None, now=NOW)
    assert Case.objects.get(pk=case.pk).stage == Stage.FINDINGS


@pytest.mark.parametrize(
    ("stage", "to", "status", "after"),
    [
        (Stage.PLAN, Stage.DECISION, 302, Stage.DECISION),  # the assessor's turn
        (Stage.PLAN, Stage.DECLINED, 403, Stage.PLAN),
        (Stage.FINDINGS, Stage.PLAN, 403, Stage.FINDINGS),  # the office's turn
    ],
)
def test_an_assessor_moves_a_case_on_in_their_turn_alone(client, stage, to, status, after) -> None:
    case = CaseFactory(stage=stage)
    assessor = UserFactory(role="assessor")
    assign(assessor, case.property)
    client.force_login(assessor)
    page = client.get(reverse("case_detail", args=[case.reference])).content.decode()
    assert (f'name="to" value="{to}"' in page) == (status == 302)
    address = reverse("case_act", args=[case.reference, "move"])
    assert client.post(address, {"seen": stage, "to": to}).status_code == status
    assert Case.objects.get(pk=case.pk).stage == after
