"""Two people, or one double click, do the same thing at the same moment."""

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.utils import timezone

from consult.models import AccessEvent, Client, Letter, User
from consult.services import clients, people
from mitigation.models import Case, Stage
from mitigation.services import cases
from mitigation.services.letters import correct_letter
from mitigation.services.visits import plan_case_visit
from surveys.models import Visit
from tests.factories import (
    CaseFactory,
    ClientFactory,
    PropertyFactory,
    UserFactory,
    compared_case,
    ready_letter,
)
from tests.faults.test_sealing import _at_once

pytestmark = pytest.mark.django_db(transaction=True)
TIMES = range(5)


def told(found) -> list[str]:
    """What those read whose work was refused."""
    return [" ".join(one.messages) for one in found if isinstance(one, ValidationError)]


@pytest.mark.parametrize("time", TIMES)
def test_an_invitation_accepted_twice_gives_one_password(time):
    now = timezone.now()
    invited = people.invite_person(
        by=UserFactory(is_manager=True), site="http://testserver", now=now,
        name="Nils Brandt", email="nils@example.org", role=User.Role.ASSESSOR,
    )  # fmt: skip
    token = people.invitation_token(invited)
    passwords = ("quiet-rooms-first", "quiet-rooms-second")
    found = _at_once(
        *(
            lambda chosen=chosen: people.accept_invitation(token=token, password=chosen, now=now)
            for chosen in passwords
        )
    )
    (words,) = told(found)
    assert "has been used" in words
    (won,) = (place for place, one in enumerate(found) if isinstance(one, User))
    invited.refresh_from_db()
    assert invited.check_password(passwords[won])
    assert AccessEvent.objects.filter(kind="accepted", about=invited).count() == 1
    assert User.objects.filter(email="nils@example.org").count() == 1


@pytest.mark.parametrize("time", TIMES)
def test_a_letter_corrected_twice_has_one_correction(time):
    case, office, now = compared_case(), UserFactory(), timezone.now()
    letter = ready_letter(case)
    found = _at_once(
        *(
            lambda why=why: correct_letter(
                letter=Letter.objects.get(pk=letter.pk),
                case=Case.objects.get(pk=case.pk),
                reason=why,
                by=office,
                now=now,
            )
            for why in ("The bed was named wrongly.", "The address was wrong.")
        )
    )
    (words,) = told(found)
    assert "corrected already" in words
    assert letter.corrections.count() == 1
    assert Letter.objects.count() == 2


@pytest.mark.parametrize("time", TIMES)
@pytest.mark.parametrize("to", [Stage.PLAN, Stage.CLOSED])
def test_of_two_moves_of_one_case_one_wins_and_the_other_is_told(time, to):
    case = CaseFactory(stage=Stage.FINDINGS)
    first, second = UserFactory(), UserFactory()
    now = timezone.now()
    # Both have the findings before their eyes.
    seen = [Case.objects.get(pk=case.pk) for _person in range(2)]
    found = _at_once(
        lambda: cases.move_case(case=seen[0], to=Stage.PLAN, by=first, now=now),
        lambda: cases.move_case(case=seen[1], to=to, by=second, now=now, reason="Done"),
    )
    moved = [one for one in found if isinstance(one, Case)]
    (words,) = told(found)
    assert "meanwhile" in words
    case.refresh_from_db()
    assert [one.stage for one in moved] == [case.stage]
    moves = case.history.filter(stage=case.stage)
    assert moves.count() == 1
    assert moves.get().history_user in (first, second)


@pytest.mark.parametrize("time", TIMES)
@pytest.mark.parametrize("crosswise", [False, True])
def test_clients_merged_by_two_people_become_one(time, crosswise):
    """Both keep the same record, or each keeps the one that the other takes away."""
    one, other = ClientFactory(name="Rosa Lindqvist"), ClientFactory(name="R. Lindqvist")
    homes = {PropertyFactory(client=one).pk, PropertyFactory(client=other).pk}
    first, second = UserFactory(), UserFactory()
    again = (other, one) if crosswise else (one, other)
    found = _at_once(
        lambda: clients.merge_clients(keep=one, gone=other, by=first),
        lambda: clients.merge_clients(keep=again[0], gone=again[1], by=second),
    )
    (words,) = told(found)
    assert "not there any more" in words
    (kept,) = (row for row in found if isinstance(row, Client))
    assert list(Client.objects.filter(name__endswith="Lindqvist")) == [kept]
    assert set(kept.properties.values_list("pk", flat=True)) == homes


@pytest.mark.parametrize("time", TIMES)
@pytest.mark.parametrize("stage", [Stage.ENQUIRY, Stage.BASELINE])
def test_the_same_visit_planned_twice_is_one_visit(time, stage):
    case, office = CaseFactory(stage=stage), UserFactory()
    assessor = UserFactory(role=User.Role.ASSESSOR)
    now = timezone.now()
    plan = {
        "kind": Visit.Kind.BASELINE,
        "day": timezone.localdate(now) + timedelta(days=4),
        "assessor": assessor,
        "by": office,
        "now": now,
    }
    found = _at_once(
        *(lambda: plan_case_visit(case=Case.objects.get(pk=case.pk), **plan) for _again in range(2))
    )
    assert told(found) == []
    assert len({visit.pk for visit in found}) == 1
    assert case.visits.count() == 1
    case.refresh_from_db()
    assert case.stage == Stage.BASELINE


def test_another_visit_on_the_same_day_is_another_visit():
    case, office, now = CaseFactory(stage=Stage.BASELINE), UserFactory(), timezone.now()
    plan = {"kind": Visit.Kind.BASELINE, "day": timezone.localdate(now), "by": office, "now": now}
    first, second = (UserFactory(role=User.Role.ASSESSOR) for _n in range(2))
    plan_case_visit(case=case, assessor=first, **plan)
    plan_case_visit(case=case, assessor=second, **plan)
    assert case.visits.count() == 2
