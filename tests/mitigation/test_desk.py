"""The desk says what is due and late, who has the next move, what failed and what runs out."""

import datetime as dt

import pytest
from django.urls import reverse
from django.utils import timezone

from consult.models import Letter, User
from mitigation.models import Case, CaseVisit, Stage
from surveys.models import Instrument
from tests.factories import (
    CalibrationFactory,
    CaseFactory,
    UserFactory,
    VisitFactory,
    assign,
    compared_case,
    ready_letter,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def today():
    return timezone.localdate()


@pytest.fixture
def office(client):
    user = UserFactory()
    client.force_login(user)
    return user


def context(client):
    return client.get(reverse("desk")).context


def test_people_of_the_practice_land_on_it(client, office):
    assert client.get(reverse("home")).url == reverse("desk")


def test_due_and_late_but_not_on_hold_or_ended(client, office, today):
    day = dt.timedelta(days=1)
    late = CaseFactory(stage=Stage.WORKS, due_on=today - day)
    due = CaseFactory(stage=Stage.FINDINGS, due_on=today)
    CaseFactory(stage=Stage.FINDINGS, due_on=today + day)
    CaseFactory(stage=Stage.WORKS, due_on=today - day, on_hold_reason="Holidays")
    CaseFactory(stage=Stage.CLOSED, due_on=today - day)
    page = context(client)
    assert list(page["due"]) == [late, due]
    lines = {line.stage: (line.n_cases, line.n_held, line.n_late) for line in page["stages"]}
    assert lines[Stage.WORKS] == (2, 1, 1)
    assert lines[Stage.FINDINGS] == (2, 0, 1)
    assert Stage.CLOSED not in lines
    assert page["n_due"] == 2


def test_an_assessor_sees_own_cases_and_visits_alone(client, today):
    assessor = UserFactory(role=User.Role.ASSESSOR)
    mine, other = (CaseFactory(stage=Stage.BASELINE, due_on=today) for _ in range(2))
    assign(assessor, mine.property)
    visits = [
        VisitFactory(property=case.property, date=today, sealed_at=None) for case in (mine, other)
    ]
    CaseVisit.objects.create(case=mine, visit=visits[0])
    client.force_login(assessor)
    page = context(client)
    assert list(page["due"]) == [mine]
    assert list(page["visits"]) == [visits[0]]
    assert other.reference not in client.get(reverse("desk")).content.decode()


def test_visits_ahead_and_those_that_were_not_sealed(client, office, today):
    days = [-3, 0, 14, 15]
    made = [VisitFactory(date=today + dt.timedelta(days=n), sealed_at=None) for n in days]
    VisitFactory(date=today)  # sealed
    assert list(context(client)["visits"]) == made[:3]


def test_letters_that_failed(client, office):
    letter = ready_letter(compared_case())
    assert not context(client)["letters"]
    Letter.objects.update(state=Letter.State.FAILED, failure="no room on the disk")
    assert list(context(client)["letters"]) == [letter]


def test_certificates_that_run_out(client, office, today):
    def certificate(days, **fields):
        return CalibrationFactory(due_on=today + dt.timedelta(days=days), **fields)

    old, renewed = (Instrument.objects.create(name=name) for name in ("old", "renewed"))
    retired = Instrument.objects.create(name="retired", is_retired=True)
    ended = certificate(-1, instrument=old)
    certificate(-1, instrument=renewed)
    certificate(300, instrument=renewed)
    soon = certificate(60, quantity="body voltage", unit="mV", instrument=renewed)
    certificate(61, quantity="body voltage", unit="mV", instrument=old)
    certificate(-1, instrument=retired)
    assert list(context(client)["certificates"]) == [ended, soon]


def test_a_newer_certificate_without_an_end_renews_too(client, office, today):
    meter = Instrument.objects.create(name="meter")
    long_ago = today - dt.timedelta(days=800)
    ended = CalibrationFactory(
        instrument=meter, calibrated_on=long_ago, due_on=today - dt.timedelta(days=70)
    )
    assert list(context(client)["certificates"]) == [ended]
    CalibrationFactory(instrument=meter, calibrated_on=today - dt.timedelta(days=60), due_on=None)
    assert list(context(client)["certificates"]) == []


def test_it_costs_the_same_with_much_to_do(client, office, today, django_assert_num_queries):
    def one_more():
        case = CaseFactory(stage=Stage.WORKS, due_on=today)
        visit = VisitFactory(property=case.property, date=today, sealed_at=None)
        CaseVisit.objects.create(case=case, visit=visit)

    one_more()
    client.get(reverse("desk"))
    with django_assert_num_queries(15):
        client.get(reverse("desk"))
    for _ in range(12):
        one_more()
    with django_assert_num_queries(15):
        client.get(reverse("desk"))
    assert Case.objects.count() == 13
