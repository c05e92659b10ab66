"""Opening, moving, holding, handing over and editing a case; the second of two people is told."""

import datetime as dt

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse
from django.utils import timezone

from consult.models import Assignment, User
from consult.services.changes import ChangedMeanwhileError, version_of
from mitigation.models import DUE_DAYS, ENDS, MOVES, Case, Stage
from mitigation.models.progress import may_skip_to, skipped
from mitigation.pages.moves import steps_of
from mitigation.services import cases
from surveys.models import Guideline
from tests.factories import CaseFactory, PropertyFactory, UserFactory, assign

pytestmark = pytest.mark.django_db
NOW = dt.datetime(2026, 5, 4, 9, 0, tzinfo=dt.UTC)


def opened(**fields):
    arguments = {
        "home": PropertyFactory(),
        "guideline": Guideline.objects.get(code="SBM-2015"),
        "target_band": 2,
        "placement_percent": 5.0,
        "by": UserFactory(),
        "now": NOW,
    }
    return cases.open_case(**(arguments | fields))


def test_a_new_case_takes_the_next_number_and_has_a_day_to_go_on():
    CaseFactory(reference="EB-2026-0041")
    case = opened()
    assert case.reference == "EB-2026-0042"
    assert (case.stage, case.round) == (Stage.ENQUIRY, 1)
    assert case.due_on == dt.date(2026, 5, 4) + dt.timedelta(days=DUE_DAYS[Stage.ENQUIRY])


def test_a_given_reference_is_taken_once():
    opened(reference="HOUSE-1")
    with pytest.raises(ValidationError):
        opened(reference="HOUSE-1")


@pytest.mark.parametrize("old", list(Stage))
@pytest.mark.parametrize("new", list(Stage))
def test_moves_are_those_of_the_table(old, new):
    case = CaseFactory(stage=old)
    if new in MOVES[old]:
        cases.move_case(case=case, to=new, by=None, now=NOW, reason="Because")
        stored = Case.objects.get(pk=case.pk)
        assert (stored.stage, stored.stage_since) == (new, NOW)
        assert (stored.due_on is None) == (new in ENDS)
    elif new not in may_skip_to(old):
        with pytest.raises(ValidationError, match="does not go"):
            cases.move_case(case=case, to=new, by=None, now=NOW, reason="Because")
        assert Case.objects.get(pk=case.pk).stage == old


@pytest.mark.parametrize(
    ("old", "new", "passed"),
    [
        (Stage.PLAN, Stage.FOLLOW_UP, [Stage.DECISION, Stage.WORKS]),
        (Stage.ENQUIRY, Stage.FINDINGS, [Stage.BASELINE]),
        (
            Stage.FINDINGS,
            Stage.CLOSED,
            [Stage.PLAN, Stage.DECISION, Stage.WORKS, Stage.FOLLOW_UP, Stage.PROOF],
        ),
    ],
)
def test_stages_are_skipped_with_a_reason_alone(old, new, passed):
    case, who = CaseFactory(stage=old), UserFactory()
    assert skipped(old, new) == passed
    with pytest.raises(ValidationError, match=f"skips: {passed[0].label}.*Say why"):
        cases.move_case(case=case, to=new, by=who, now=NOW, reason=" ")
    assert Case.objects.get(pk=case.pk).stage == old
    cases.move_case(case=case, to=new, by=who, now=NOW, reason="Done by their own electrician")
    assert Case.objects.get(pk=case.pk).stage == new
    assert "their own electrician" in case.notes.get().text


@pytest.mark.parametrize("stage", [Stage.PROOF, Stage.CLOSED, Stage.DECLINED])
def test_nothing_is_left_to_skip(stage):
    assert may_skip_to(stage) == []


def test_the_second_of_two_people_is_told_and_nothing_is_done():
    case = CaseFactory(stage=Stage.DECISION)
    mine, theirs = Case.objects.get(pk=case.pk), Case.objects.get(pk=case.pk)
    cases.move_case(case=theirs, to=Stage.WORKS, by=None, now=NOW)
    with pytest.raises(ValidationError, match="electrician works"):
        cases.move_case(case=mine, to=Stage.PLAN, by=None, now=NOW)
    assert Case.objects.get(pk=case.pk).stage == Stage.WORKS


def test_a_move_is_in_the_history_with_who_and_why():
    case, who = CaseFactory(stage=Stage.DECISION), UserFactory()
    cases.decline_case(case=case, reason="The family moves out.", by=who, now=NOW)
    latest = case.history.first()
    assert (latest.stage, latest.history_user) == (Stage.DECLINED, who)
    assert latest.history_change_reason == "The family moves out."
    assert "moves out" in case.notes.get().text


def test_ends_need_a_reason():
    with pytest.raises(ValidationError, match="why"):
        cases.decline_case(case=CaseFactory(), reason=" ", by=None, now=NOW)


def test_on_hold_nothing_moves_until_it_is_resumed():
    case = CaseFactory(stage=Stage.WORKS)
    cases.hold_case(case=case, reason="Waits for the landlord", by=None, now=NOW)
    assert steps_of([case], now=NOW) == {}
    with pytest.raises(ValidationError, match="on hold"):
        cases.move_case(case=case, to=Stage.FOLLOW_UP, by=None, now=NOW)
    cases.resume_case(case=case, by=None, now=NOW)
    cases.move_case(case=case, to=Stage.FOLLOW_UP, by=None, now=NOW)
    assert Case.objects.get(pk=case.pk).stage == Stage.FOLLOW_UP
    assert [row.on_hold_reason for row in case.history.all()] == [
        "",
        "",
        "Waits for the landlord",
        "",
    ]


def test_a_reason_too_long_for_the_page_is_refused():
    case = CaseFactory(stage=Stage.WORKS)
    with pytest.raises(ValidationError, match="200"):
        cases.hold_case(case=case, reason="x" * 201, by=None, now=NOW)
    assert Case.objects.get(pk=case.pk).on_hold_reason == ""
    cases.hold_case(case=case, reason="x" * 200, by=None, now=NOW)
    assert Case.objects.get(pk=case.pk).on_hold_reason == "x" * 200


def test_two_who_hold_one_case():
    case = CaseFactory(stage=Stage.WORKS)
    mine, theirs = Case.objects.get(pk=case.pk), Case.objects.get(pk=case.pk)
    cases.hold_case(case=theirs, reason="Holidays", by=None, now=NOW)
    with pytest.raises(ValidationError, match="on hold"):
        cases.hold_case(case=mine, reason="No money", by=None, now=NOW)
    assert Case.objects.get(pk=case.pk).on_hold_reason == "Holidays"


def test_a_declined_case_is_reopened_with_a_reason():
    case = CaseFactory(stage=Stage.DECLINED)
    cases.reopen_case(case=case, to=Stage.ENQUIRY, reason="They called again", by=None, now=NOW)
    assert case.stage == Stage.ENQUIRY
    with pytest.raises(ValidationError, match="closed or declined"):
        cases.reopen_case(case=case, to=Stage.BASELINE, reason="x", by=None, now=NOW)


def test_a_second_round_begins_with_a_plan():
    case = CaseFactory(stage=Stage.PROOF)
    cases.begin_round(case=case, by=None, now=NOW, reason="Bed head still above the target")
    assert (case.stage, case.round) == (Stage.PLAN, 2)
    with pytest.raises(ValidationError, match="after a proof"):
        cases.begin_round(case=case, by=None, now=NOW, reason="again")


def test_handing_over_changes_who_sees_the_case():
    case, by = CaseFactory(), UserFactory()
    old, new = (UserFactory(role=User.Role.ASSESSOR) for _ in range(2))
    assign(old, case.property)
    cases.hand_over(case=case, to=new, by=by, now=NOW)
    assert list(Assignment.objects.values_list("user", flat=True)) == [new.pk]
    assert not Case.objects.visible_to(old).exists()
    assert Case.objects.visible_to(new).exists()
    removed = Assignment.history.filter(history_type="-").get()
    assert (removed.user_id, removed.history_user) == (old.pk, by)
    with pytest.raises(ValidationError, match="assessor"):
        cases.hand_over(case=case, to=by, by=by, now=NOW)


def test_an_edit_over_somebody_elses_change_is_refused():
    case, first = CaseFactory(), UserFactory(name="Ines Feld")
    seen = version_of(case)
    cases.edit_case(case=case, seen=seen, by=first, values={"target_band": 1})
    with pytest.raises(ChangedMeanwhileError, match="Ines Feld"):
        cases.edit_case(case=case, seen=seen, by=None, values={"placement_percent": 9.0})
    stored = Case.objects.get(pk=case.pk)
    assert (stored.target_band, stored.placement_percent) == (1, 5.0)
    cases.edit_case(case=case, seen=version_of(case), by=None, values={"placement_percent": 9.0})
    assert Case.objects.get(pk=case.pk).placement_percent == 9.0


def test_a_change_that_stands_already_is_no_clash():
    """A second click, or two people with the same thought."""
    case = CaseFactory()
    seen = version_of(case)
    for _click in range(2):
        cases.edit_case(case=case, seen=seen, by=None, values={"target_band": 1})
    assert Case.objects.get(pk=case.pk).target_band == 1


def test_a_move_counts_as_a_change_for_who_edits():
    case = CaseFactory()
    seen = version_of(case)
    cases.move_case(case=Case.objects.get(pk=case.pk), to=Stage.BASELINE, by=None, now=NOW)
    with pytest.raises(ChangedMeanwhileError):
        cases.edit_case(case=case, seen=seen, by=None, values={"target_band": 1})


def test_notes_do_not_reach_clients_or_electricians():
    case = CaseFactory()
    note = cases.add_note(case=case, text="Dog bites", by=None, now=timezone.now())
    client = UserFactory(role=User.Role.CLIENT)
    case.property.client.user = client
    case.property.client.save()
    assert list(type(note).objects.visible_to(UserFactory())) == [note]
    assert not type(note).objects.visible_to(client).exists()


def test_a_note_sent_twice_at_once_is_one_note():
    case, now = CaseFactory(), timezone.now()
    author = UserFactory()
    first = cases.add_note(case=case, text="Dog bites", by=author, now=now)
    again = cases.add_note(
        case=case, text=" Dog bites", by=author, now=now + dt.timedelta(minutes=9)
    )
    later = cases.add_note(
        case=case, text="Dog bites", by=author, now=now + dt.timedelta(minutes=11)
    )
    other = cases.add_note(case=case, text="Dog bites", by=UserFactory(), now=now)
    assert again == first
    assert len({first, later, other}) == 3


def test_a_reference_that_somebody_takes_meanwhile_is_refused_in_the_form(client):
    home = PropertyFactory()
    client.force_login(UserFactory(role="office"))
    page = reverse("case_open", args=[home.pk])
    guideline = Guideline.objects.get(code=Guideline.USUAL)
    typed = {"guideline": guideline.pk, "target_band": "2", "placement_percent": "5"}
    taken = typed | {"reference": "HOUSE-9"}
    CaseFactory(reference="HOUSE-9")
    assert client.post(page, taken).status_code == 422
    assert Case.objects.filter(property=home).count() == 0
    assert client.post(page, typed).status_code == 302
    assert Case.objects.filter(property=home).count() == 1
