"""What was done in a case leads it to its stage, and says what has to be done next."""

import datetime as dt

import pytest
from django.urls import reverse
from django.utils import timezone

from consult.models import Job, Letter
from consult.services.changes import version_of
from consult.services.sending import LETTER_SENT
from consult.tasks import run_job
from mitigation.models import ENDS, MOVES, NEXT_MOVE, Case, CaseVisit, Stage
from mitigation.models.progress import LEADS_TO, STEPS, Fact, next_step, stage_reached
from mitigation.pages.moves import steps_of
from mitigation.services import cases
from mitigation.services.histories import case_changes
from mitigation.services.visits import call_off_visit, plan_case_visit
from surveys.models import Visit
from surveys.services.visits import VISIT_MOVED, change_conditions
from tests.factories import (
    CalibrationFactory,
    CaseFactory,
    SpotFactory,
    UserFactory,
    VisitFactory,
    add_reading,
    compared_case,
    issue_survey_report,
)

pytestmark = pytest.mark.django_db
NOW = dt.datetime(2026, 6, 1, 9, 0, tzinfo=dt.UTC)
DAY = dt.date(2026, 6, 20)


@pytest.fixture
def office(client):
    user = UserFactory(name="Ines Feld")
    client.force_login(user)
    return user


def surveyed(stage: str = Stage.FINDINGS) -> Case:
    """A case with a sealed baseline of one reading."""
    case = CaseFactory(stage=stage, opened_at=timezone.now() - dt.timedelta(days=9))
    baseline = VisitFactory(property=case.property)
    CaseVisit.objects.create(case=case, visit=baseline)
    add_reading(baseline, SpotFactory(home=case.property), CalibrationFactory(), total=48.0)
    return case


def ready(letter: Letter) -> Letter:
    """As if its file were made; how it is made is tried elsewhere."""
    letter.state = Letter.State.READY
    return letter


def send(client, letter: Letter, way: str = "post") -> None:
    run_job(Job.objects.get(key__endswith=letter.number).pk)
    assert client.post(reverse("letter_send", args=[letter.number, way])).status_code == 302
    run_job(Job.objects.filter(kind=LETTER_SENT).latest("pk").pk)


def step(case: Case) -> str:
    case = Case.objects.get(pk=case.pk)
    return str(steps_of([case], now=timezone.now())[case.pk].words)


def test_a_fact_leads_forward_from_every_stage_before_its_own_and_nowhere_else():
    for fact, to in LEADS_TO.items():
        for stage in Stage:
            is_before = stage not in ENDS and list(Stage).index(stage) < list(Stage).index(to)
            expected = (to, fact) if is_before else (stage, None)
            assert stage_reached({fact}, stage) == expected, (fact, stage)


def test_of_several_facts_the_furthest_decides():
    facts = {Fact.BASELINE_SEALED, Fact.FOLLOW_UP_SEALED, Fact.REPORT_SENT}
    assert stage_reached(facts, Stage.ENQUIRY) == (Stage.PROOF, Fact.FOLLOW_UP_SEALED)
    assert stage_reached({Fact.REPORT_ISSUED}, Stage.FINDINGS) == (Stage.FINDINGS, None)


def test_each_stage_that_goes_on_has_steps_and_the_last_of_them_stays():
    assert set(STEPS) == {stage for stage, role in NEXT_MOVE.items() if role}
    for stage, steps in STEPS.items():
        assert [step.done_by for step in steps].index(None) == len(steps) - 1
        assert NEXT_MOVE[stage] in {step.role for step in steps}
        assert next_step(stage, set(Fact)) == steps[-1]
        assert next_step(stage, set()) == steps[0]
    assert set(MOVES) == set(Stage)
    assert next_step(Stage.CLOSED, set()) is None


@pytest.mark.parametrize("stage", [Stage.FINDINGS, Stage.PLAN, Stage.DECISION, Stage.WORKS])
def test_a_follow_up_planned_takes_the_case_there_with_the_reason(office, stage):
    case, assessor = surveyed(stage), UserFactory(role="assessor")
    plan_case_visit(
        case=case, kind="follow-up", day=DAY, assessor=assessor, by=office, now=timezone.now()
    )
    stored = Case.objects.get(pk=case.pk)
    assert (stored.stage, stored.due_on) == (Stage.FOLLOW_UP, DAY)
    reason = stored.history.filter(stage=Stage.FOLLOW_UP).last().history_change_reason
    assert reason.startswith("follow-up visit planned")
    assert ("client decides" in reason) == (stage in (Stage.FINDINGS, Stage.PLAN))
    assert reason in [change.reason for change in case_changes(case, office)]
    assert not case.notes.exists()


def test_a_follow_up_of_nothing_measured_leads_nowhere(office):
    case = CaseFactory(stage=Stage.ENQUIRY)
    plan_case_visit(
        case=case, kind="follow-up", day=DAY, assessor=UserFactory(role="assessor"), by=office,
        now=timezone.now(),
    )  # fmt: skip
    assert Case.objects.get(pk=case.pk).stage == Stage.ENQUIRY


@pytest.mark.parametrize("way", ["post", "email"])
def test_a_report_that_was_sent_is_sent(client, office, way, monkeypatch):
    case = surveyed()
    case.property.client.email = "ada@example.org"
    case.property.client.save()
    assert step(case) == "issue the survey report and send it"
    letter = issue_survey_report(case=case, by=office, now=timezone.now())
    assert step(case) == "send the survey report"
    monkeypatch.setattr("consult.letters.rendering.render_letter", lambda *_a, **_k: b"%PDF-1.7")
    send(client, letter, way)
    case.refresh_from_db()
    assert (case.stage, step(case)) == (Stage.PLAN, "propose remedies")
    latest = case.history.first()
    assert (latest.history_user, latest.history_change_reason) == (office, "survey report sent")
    Case.objects.update(due_on=timezone.localdate())
    page = client.get(reverse("desk")).content.decode()
    assert "propose remedies" in page and "issue the survey report" not in page


def test_a_letter_sent_while_the_case_rests_counts_once_it_goes_on(client, office, monkeypatch):
    case = surveyed()
    letter = issue_survey_report(case=case, by=office, now=timezone.now())
    cases.hold_case(case=case, reason="Holidays", by=office, now=timezone.now())
    monkeypatch.setattr("consult.letters.rendering.render_letter", lambda *_a, **_k: b"%PDF-1.7")
    send(client, letter)
    assert Case.objects.get(pk=case.pk).stage == Stage.FINDINGS
    cases.resume_case(case=Case.objects.get(pk=case.pk), by=office, now=timezone.now())
    assert Case.objects.get(pk=case.pk).stage == Stage.PLAN


def test_what_was_done_in_an_earlier_round_leads_nowhere_in_the_next(office):
    case = compared_case()
    cases.begin_round(case=case, by=office, now=timezone.now(), reason="Still above")
    cases.go_on(case=case, by=office, now=timezone.now())
    assert Case.objects.get(pk=case.pk).stage == Stage.PLAN


def test_a_survey_is_done_when_the_visit_that_it_waited_for_is_called_off(office):
    case = surveyed(Stage.BASELINE)
    second = VisitFactory(property=case.property, sealed_at=None)
    CaseVisit.objects.create(case=case, visit=second)
    cases.go_on(case=case, by=office, now=timezone.now())
    assert Case.objects.get(pk=case.pk).stage == Stage.BASELINE
    call_off_visit(case=case, visit=second, by=office, now=timezone.now(), reason="Not needed")
    assert Case.objects.get(pk=case.pk).stage == Stage.FINDINGS


def test_the_next_step_of_a_survey_without_a_visit_is_to_plan_one(office):
    case = CaseFactory(stage=Stage.BASELINE)
    assert step(case) == "plan the baseline visit"
    CaseVisit.objects.create(case=case, visit=VisitFactory(property=case.property, sealed_at=None))
    assert step(case) == "measure and seal the baseline visit"
    assert Visit.objects.count() == 1


def test_the_page_asks_before_stages_are_skipped(client, office):
    case = CaseFactory(stage=Stage.FINDINGS)
    address = reverse("case_act", args=[case.reference, "move"])
    asked = client.post(address, {"seen": "findings", "to": "works"})
    page = reverse("case_skip", args=[case.reference, "findings", "works"])
    assert (asked.status_code, asked.url) == (302, page)
    words = client.get(page).content.decode()
    assert "That skips: plan of remedies, client decides." in words
    assert client.post(page, {"reason": " "}).status_code == 422
    assert Case.objects.get().stage == Stage.FINDINGS
    assert client.post(page, {"reason": "They had it done"}).status_code == 302
    assert Case.objects.get().stage == Stage.WORKS
    assert case.notes.get().text == "electrician works: They had it done"
    late = client.post(page, {"reason": "Again"})
    assert late.status_code == 422
    assert "Somebody else changed this case meanwhile" in late.content.decode()


@pytest.mark.parametrize("to", ["plan", "findings", "declined", "nowhere"])
def test_a_move_that_skips_nothing_has_no_such_page(client, office, to):
    case = CaseFactory(stage=Stage.FINDINGS)
    page = reverse("case_skip", args=[case.reference, "findings", to])
    assert client.get(page).status_code == 404


def test_the_steps_of_many_cases_cost_four_queries(django_assert_num_queries):
    many = [surveyed() for _case in range(3)]
    with django_assert_num_queries(4):
        assert len(steps_of(many, now=NOW)) == 3


def move(visit: Visit, day: dt.date, by) -> None:
    change_conditions(visit=visit, by=by, date=day)
    run_job(Job.objects.filter(kind=VISIT_MOVED).latest("pk").pk)


def planned(case: Case, by, day: dt.date) -> Visit:
    return plan_case_visit(
        case=case, kind="baseline", day=day, assessor=UserFactory(role="assessor"), by=by, now=NOW
    )


def test_a_case_is_due_on_the_day_to_which_its_visit_is_moved(client, office):
    case, today = CaseFactory(), timezone.localdate()
    visit = planned(case, office, dt.date(2020, 6, 20))
    assert list(client.get(reverse("desk")).context["due"]) == [case]
    move(visit, today + dt.timedelta(days=2), office)
    case.refresh_from_db()
    assert case.due_on == today + dt.timedelta(days=2)
    assert case.history.first().history_user == office
    assert list(client.get(reverse("desk")).context["due"]) == []


def test_a_due_day_that_the_office_set_stays_when_the_visit_is_moved(office):
    case = CaseFactory()
    visit = planned(case, office, DAY)
    case.refresh_from_db()
    own = dt.date(2026, 6, 8)
    cases.edit_case(case=case, seen=version_of(case), by=office, values={"due_on": own})
    move(visit, DAY + dt.timedelta(days=3), office)
    assert Case.objects.get(pk=case.pk).due_on == own


def test_another_word_in_a_visit_moves_no_case(office):
    visit = planned(CaseFactory(), office, DAY)
    change_conditions(visit=visit, by=office, date=DAY, note="Windy")
    assert not Job.objects.filter(kind=VISIT_MOVED).exists()
