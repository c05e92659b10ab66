"""A planned visit that will not be: called off, handed over, or on a day that cannot be meant."""

import datetime as dt

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse
from django.utils import timezone

from consult.models import User
from consult.services.changes import version_of
from mitigation.models import Case, CaseVisit, Stage
from mitigation.services import cases
from mitigation.services.histories import case_changes
from mitigation.services.visits import call_off_visit, plan_case_visit
from surveys.models import Visit
from tests.factories import CalibrationFactory, CaseFactory, SpotFactory, UserFactory, add_reading

pytestmark = pytest.mark.django_db
NOW = dt.datetime(2026, 5, 4, 9, 0, tzinfo=dt.UTC)
DAY = dt.date(2026, 5, 20)


@pytest.fixture
def office(client):
    user = UserFactory(name="Ines Feld")
    client.force_login(user)
    return user


@pytest.fixture
def assessor():
    return UserFactory(role=User.Role.ASSESSOR, name="Jo Feld")


@pytest.fixture
def case():
    return CaseFactory(stage=Stage.ENQUIRY)


@pytest.fixture
def planned(case, office, assessor):
    return plan(case, office, assessor)


def plan(case, by, assessor, **fields):
    given = {"kind": "baseline", "day": DAY} | fields
    return plan_case_visit(case=case, by=by, assessor=assessor, now=NOW, **given)


def page_of(case, visit):
    return reverse("visit_call_off", args=[case.reference, visit.pk])


def test_a_visit_is_called_off_on_its_page(client, office, case, planned):
    address = page_of(case, planned)
    assert address in client.get(reverse("visit_detail", args=[planned.pk])).content.decode()
    assert client.get(address).status_code == 200
    assert client.post(address, {"reason": " "}).status_code == 422
    assert Visit.objects.filter(pk=planned.pk).exists()
    assert client.post(address, {"reason": "The client is ill"}).status_code == 302
    assert not Visit.objects.exists() and not CaseVisit.objects.exists()
    told = [(one.what, one.kind, one.who, one.reason) for one in case_changes(case, office)]
    assert ("Visit baseline 1", "removed", "Ines Feld", "The client is ill") in told
    assert any(one[:2] == ("Visit baseline 1", "entered") for one in told)
    again = client.post(address, {"reason": "The client is ill"})  # a double click
    assert again.url == reverse("case_detail", args=[case.reference])


def test_the_case_is_due_when_the_next_visit_is(case, office, assessor, planned):
    later = plan(case, office, assessor, day=DAY + dt.timedelta(days=9))
    case.refresh_from_db()
    assert case.due_on == later.date
    call_off_visit(case=case, visit=later, by=office, now=NOW, reason="Snow")
    assert Case.objects.get(pk=case.pk).due_on == DAY
    call_off_visit(case=case, visit=planned, by=office, now=NOW, reason="Snow")
    assert Case.objects.get(pk=case.pk).due_on == cases.due_after(Stage.BASELINE, NOW)


@pytest.mark.parametrize("then", ["read", "sealed"])
def test_a_visit_with_something_in_it_stays(client, office, case, planned, then):
    spot = SpotFactory(home=case.property)
    add_reading(planned, spot, CalibrationFactory(), total=5.0)
    if then == "sealed":
        Visit.objects.filter(pk=planned.pk).update(sealed_at=NOW)
    answer = client.post(page_of(case, planned), {"reason": "Snow"})
    assert answer.status_code == 422
    assert Visit.objects.filter(pk=planned.pk).exists() and CaseVisit.objects.exists()
    page = client.get(reverse("visit_detail", args=[planned.pk])).content.decode()
    assert page_of(case, planned) not in page


def test_a_visit_of_another_case_is_not_called_off(client, office, planned):
    other = CaseFactory()
    answer = client.post(page_of(other, planned), {"reason": "Snow"})
    assert answer.status_code == 302
    assert Visit.objects.filter(pk=planned.pk).exists()


def test_who_takes_a_case_over_takes_its_visits(client, office, case, assessor, planned):
    """The one who went would not even see the address any more."""
    begun = plan(case, office, assessor, day=DAY + dt.timedelta(days=1))
    add_reading(begun, SpotFactory(home=case.property), CalibrationFactory(), total=5.0)
    new = UserFactory(role=User.Role.ASSESSOR, name="Ada Kern")
    act = reverse("case_act", args=[case.reference, "hand-over"])
    answer = client.post(act, {"to": new.pk, "seen": Stage.BASELINE}, follow=True)
    assert "Handed over to Ada Kern" in answer.content.decode()
    assert Visit.objects.get(pk=planned.pk).assessor == "Ada Kern"
    assert Visit.objects.get(pk=begun.pk).assessor == "Jo Feld"
    assert planned.history.first().history_user == office


@pytest.mark.parametrize("day", ["0026-06-01", "2062-06-01", "9999-12-31", "1926-06-01"])
@pytest.mark.parametrize("page", ["visit_plan", "case_edit", "visit_edit"])
def test_a_year_that_cannot_be_meant_is_asked_about(client, office, case, assessor, page, day):
    row = plan(case, office, assessor)
    where = [row.pk] if page == "visit_edit" else [case.reference]
    address, field = reverse(page, args=where), {"visit_plan": "day", "case_edit": "due_on"}
    name = field.get(page, "date")
    form = client.get(address).context["form"]
    said = {one.html_name: one.value() for one in form if one.value() is not None}
    said |= {"assessor": assessor.pk if page == "visit_plan" else "Jo Feld"}
    refused = client.post(address, said | {name: day})
    assert refused.status_code == 422
    assert "Is the year right?" in refused.content.decode()
    assert client.post(address, said | {name: str(timezone.localdate())}).status_code == 302


def test_a_case_that_somebody_resumed_is_not_resumed_again():
    """From a page of before: the day that was set since would be lost."""
    case = CaseFactory(stage=Stage.PLAN)
    cases.hold_case(case=case, reason="Holidays", by=None, now=NOW)
    cases.resume_case(case=case, by=None, now=NOW)
    cases.edit_case(
        case=case, seen=version_of(case), by=None, values={"due_on": dt.date(2026, 9, 1)}
    )
    seen = Case.objects.get(pk=case.pk)
    with pytest.raises(ValidationError, match="not on hold"):
        cases.resume_case(case=seen, by=None, now=NOW)
    assert Case.objects.get(pk=case.pk).due_on == dt.date(2026, 9, 1)
