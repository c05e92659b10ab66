"""A visit is made by a person of the practice, who sees it, or by somebody outside."""

import datetime as dt

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse
from django.utils import timezone

from consult.models import Assignment, User
from mitigation.models import CaseVisit
from mitigation.services.cases import hand_over
from mitigation.services.imports import import_case_folder
from mitigation.services.visits import plan_case_visit
from surveys.models import Visit
from surveys.services.visits import change_conditions, plan_visit
from tests.factories import CaseFactory, PropertyFactory, UserFactory
from tests.surveys.case_folders import as_zip

pytestmark = pytest.mark.django_db
DAY = dt.date(2026, 6, 20)


@pytest.fixture
def office(client):
    user = UserFactory(name="Ines Feld")
    client.force_login(user)
    return user


@pytest.fixture
def jo():
    return UserFactory(role="assessor", name="Jo Feld")


@pytest.fixture
def ada():
    return UserFactory(role="assessor", name="Ada Kern")


@pytest.fixture
def visit(office, jo):
    return plan_visit(home=PropertyFactory(), kind="baseline", day=DAY, by=office, measured_by=jo)


def sent(client, visit: Visit, **changes: object):
    address = reverse("visit_edit", args=[visit.pk])
    shown = {one.html_name: one.value() for one in client.get(address).context["form"]}
    typed = {name: value for name, value in shown.items() if value is not None} | changes
    return client.post(address, typed)


def sees(person: User, visit: Visit) -> bool:
    return Visit.objects.visible_to(person).filter(pk=visit.pk).exists()


def test_a_visit_goes_to_the_person_who_is_chosen(client, office, visit, jo, ada):
    assert sees(jo, visit) and not sees(ada, visit)
    assert sent(client, visit, measured_by=ada.pk).status_code == 302
    visit.refresh_from_db()
    assert (visit.measured_by, visit.assessor) == (ada, "Ada Kern")
    client.force_login(ada)
    assert client.get(reverse("visit_detail", args=[visit.pk])).status_code == 200
    assert Assignment.history.filter(user=ada).get().history_user == office
    assert visit.history.first().measured_by == ada


def test_somebody_outside_is_a_name_and_sees_nothing(client, visit, jo, ada):
    answer = sent(client, visit, measured_by="", assessor="Lab Norden")
    assert answer.status_code == 302
    visit.refresh_from_db()
    assert (visit.measured_by, visit.assessor) == (None, "Lab Norden")
    assert not sees(ada, visit)
    form = client.get(reverse("visit_edit", args=[visit.pk])).context["form"]
    assert form["assessor"].value() == "Lab Norden"


def test_two_people_are_refused(client, visit, jo):
    answer = sent(client, visit, assessor="Lab Norden")
    assert answer.status_code == 422
    assert "or name somebody outside" in answer.content.decode()
    assert Visit.objects.get(pk=visit.pk).measured_by == jo


def test_the_typed_name_of_one_of_the_practice_is_that_person(client, visit, ada):
    assert sent(client, visit, measured_by="", assessor=" ada  KERN ").status_code == 302
    visit.refresh_from_db()
    assert (visit.measured_by, visit.assessor) == (ada, "Ada Kern")
    assert sees(ada, visit)


def test_a_name_that_two_have_is_nobody(client, visit, ada):
    UserFactory(role="assessor", name="ADA KERN")
    assert sent(client, visit, measured_by="", assessor="Ada Kern").status_code == 302
    assert Visit.objects.get(pk=visit.pk).measured_by is None


def test_who_left_stays_on_the_visit_and_is_not_chosen_anew(client, office, visit, jo, ada):
    User.objects.filter(pk__in=[jo.pk, ada.pk]).update(is_active=False)
    assert sent(client, visit, note="Windy").status_code == 302
    stored = Visit.objects.get(pk=visit.pk)
    assert (stored.measured_by, stored.assessor, stored.note) == (jo, "Jo Feld", "Windy")
    assert sent(client, visit, measured_by=ada.pk).status_code == 422
    ada.refresh_from_db()
    with pytest.raises(ValidationError, match="who can log in"):
        change_conditions(visit=visit, by=office, measured_by=ada)


def test_another_name_of_the_same_person_does_not_rewrite_the_visit(client, office, visit, jo):
    User.objects.filter(pk=jo.pk).update(name="Jo Kern-Feld")
    assert sent(client, visit, note="Windy").status_code == 302
    assert Visit.objects.get(pk=visit.pk).assessor == "Jo Feld"


@pytest.mark.parametrize(
    ("typed", "status", "name"),
    [
        ({"assessor": "{jo}"}, 302, "Jo Feld"),
        ({"outside": "Lab Norden"}, 302, "Lab Norden"),
        ({}, 422, None),
        ({"assessor": "{jo}", "outside": "Lab Norden"}, 422, None),
    ],
)
def test_a_visit_is_planned_for_one_of_both(client, office, jo, typed, status, name):
    case = CaseFactory(opened_at=timezone.make_aware(dt.datetime.combine(DAY, dt.time())))
    given = {key: str(text).replace("{jo}", str(jo.pk)) for key, text in typed.items()}
    plan = {"kind": "baseline", "day": str(DAY)} | given
    assert client.post(reverse("visit_plan", args=[case.reference]), plan).status_code == status
    assert [row.assessor for row in case.visits.all()] == ([name] if name else [])
    assert Assignment.objects.filter(user=jo).exists() == (name == "Jo Feld")


def test_a_case_handed_over_gives_its_visits_to_the_person(office, jo, ada):
    case = CaseFactory()
    visit = plan_case_visit(
        case=case, kind="baseline", day=DAY, assessor=jo, by=office, now=timezone.now()
    )
    hand_over(case=case, to=ada, by=office, now=timezone.now())
    visit.refresh_from_db()
    assert (visit.measured_by, visit.assessor) == (ada, "Ada Kern")
    assert CaseVisit.objects.filter(visit=visit).exists()


def test_a_name_in_a_file_is_matched_and_opens_nothing(office):
    person = UserFactory(role="assessor", name="jo  FELD")
    case = import_case_folder(source=as_zip(), by=office, now=timezone.now()).case
    names = {visit.assessor: visit.measured_by for visit in case.visits.all()}
    assert names == {"Jo Feld": person}
    assert not Assignment.objects.exists()
