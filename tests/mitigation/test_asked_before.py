"""What is asked about before it is entered: a day of long ago, a double booking, a known client."""

import datetime as dt

import pytest
from django.urls import reverse
from django.utils import timezone

from consult.forms.asking import MEANT
from consult.models import Client, User
from mitigation.models import Stage
from surveys.forms.visit_days import LONG_AGO
from surveys.models import Visit
from tests.factories import CaseFactory, ClientFactory, UserFactory, VisitFactory, assign

pytestmark = pytest.mark.django_db
DAY = dt.timedelta(days=1)


@pytest.fixture
def office(client):
    user = UserFactory()
    client.force_login(user)
    return user


@pytest.fixture
def jo():
    return UserFactory(role=User.Role.ASSESSOR, name="Jo Feld")


@pytest.fixture
def case():
    return CaseFactory(stage=Stage.ENQUIRY)


@pytest.fixture
def soon():
    return timezone.localdate() + 7 * DAY


def plan(browser, case, day, person=None, **more):
    sent = {"kind": "baseline", "day": str(day), "assessor": person.pk if person else ""} | more
    return browser.post(reverse("visit_plan", args=[case.reference]), sent)


def tick_of(answer):
    """What the tick of a form that came back stands for."""
    return answer.context["form"].fields[MEANT].widget.attrs["value"]


def test_a_day_of_long_ago_is_asked_about_and_may_be_meant(client, office, jo, case):
    day = timezone.localdate() - LONG_AGO - DAY
    asked = plan(client, case, day, jo)
    assert asked.status_code == 422
    assert "long ago. Is the year right?" in str(asked.context["form"].errors["day"])
    assert not Visit.objects.exists()
    assert plan(client, case, day, jo, meant=tick_of(asked)).status_code == 302
    assert Visit.objects.get().date == day


def test_the_day_is_held_against_that_on_which_the_case_began(client, office, jo, case):
    day = timezone.localdate() - LONG_AGO - DAY
    case.opened_at = timezone.now() - 10 * DAY
    case.save()
    assert plan(client, case, day - 10 * DAY, jo).status_code == 422
    assert plan(client, case, day - 5 * DAY, jo).status_code == 302, "within half a year"
    assert plan(client, case, day - 10 * DAY, jo).status_code == 302, "a visit is as old"


def test_a_tick_for_one_question_is_none_for_another(client, office, jo, case):
    day = timezone.localdate() - LONG_AGO - DAY
    tick = tick_of(plan(client, case, day, jo))
    other = plan(client, case, day - DAY, jo, meant=tick)
    assert other.status_code == 422 and not Visit.objects.exists()
    assert f'value="{tick_of(other)}"' in other.content.decode()
    assert "checked" not in other.content.decode(), "the new question is not answered yet"


def test_nothing_is_asked_of_a_form_with_faults(client, office, jo, case):
    answer = plan(client, case, timezone.localdate() - LONG_AGO - DAY)
    assert answer.status_code == 422
    assert MEANT not in answer.context["form"].fields
    assert "day" not in answer.context["form"].errors


def test_a_double_booking_is_asked_about_by_name(client, office, jo, case, soon):
    other = VisitFactory(date=soon, sealed_at=None, measured_by=jo, label="First look")
    asked = plan(client, case, soon, jo)
    assert asked.status_code == 422
    words = str(asked.context["form"].errors["assessor"])
    assert all(word in words for word in ("Jo Feld", "First look", other.property.client.name))
    assert plan(client, case, soon, jo, meant=tick_of(asked)).status_code == 302


def test_no_double_booking_is_a_visit_at_the_same_property_or_by_another(
    client, office, jo, case, soon
):
    VisitFactory(property=case.property, date=soon, sealed_at=None, measured_by=jo)
    VisitFactory(date=soon, sealed_at=None, measured_by=UserFactory(role=User.Role.ASSESSOR))
    VisitFactory(date=soon + DAY, sealed_at=None, measured_by=jo)
    assert plan(client, case, soon, jo).status_code == 302


def test_somebody_outside_is_known_by_the_name(client, office, case, soon):
    VisitFactory(date=soon, sealed_at=None, assessor="Lab  Norden")
    assert plan(client, case, soon, outside="lab norden").status_code == 422
    assert plan(client, case, soon, outside="Lab Norden South").status_code == 302


def conditions(visit, **more):
    sent = {"label": visit.label, "date": str(visit.date), "version": "0",
            "measured_by": visit.measured_by_id or "", "assessor": ""}  # fmt: skip
    return sent | more


def test_a_visit_that_is_moved_is_asked_about_too(client, office, jo, soon):
    visit = VisitFactory(date=soon, sealed_at=None, measured_by=jo, assessor=jo.name)
    VisitFactory(date=soon + DAY, sealed_at=None, measured_by=jo)
    url, day = reverse("visit_edit", args=[visit.pk]), visit.history.first().history_id
    booked = conditions(visit, date=str(soon + DAY), version=day)
    asked = client.post(url, booked)
    assert asked.status_code == 422 and "measured_by" in asked.context["form"].errors
    long_ago = conditions(visit, date="2020-03-02", version=day)
    assert "date" in client.post(url, long_ago).context["form"].errors
    assert client.post(url, booked | {"meant": tick_of(asked)}).status_code == 302
    visit.refresh_from_db()
    assert visit.date == soon + DAY


def test_a_visit_of_long_ago_that_is_not_moved_is_asked_nothing(client, office, jo):
    day = dt.date(2020, 3, 2)
    visit = VisitFactory(date=day, sealed_at=None, measured_by=jo, assessor=jo.name)
    VisitFactory(date=day, sealed_at=None, measured_by=jo)
    sent = conditions(visit, note="Damp air", version=visit.history.first().history_id)
    assert client.post(reverse("visit_edit", args=[visit.pk]), sent).status_code == 302


def test_an_assessor_reads_of_no_property_that_is_not_theirs(client, jo, soon):
    other = UserFactory(role=User.Role.ASSESSOR, name="Ada Kern")
    theirs = VisitFactory(date=soon, sealed_at=None, measured_by=other)
    visit = VisitFactory(date=soon, sealed_at=None, measured_by=jo, assessor=jo.name)
    assign(jo, visit.property)
    client.force_login(jo)
    sent = conditions(visit, measured_by=other.pk, version=visit.history.first().history_id)
    answer = client.post(reverse("visit_edit", args=[visit.pk]), sent)
    assert answer.status_code == 422
    assert "Ada Kern has a visit at another property" in answer.content.decode()
    assert theirs.property.client.name not in answer.content.decode()


# -- A client who is there already ---------------------------------------------------------------

KNOWN = {"name": "Möwe Sørensen", "phone": "+49 5121 998877", "email": "m@example.org",
         "address": "Uferweg 3\n24999 Neustrand", "language": "en"}  # fmt: skip


@pytest.fixture
def known():
    return ClientFactory(**KNOWN)


@pytest.mark.parametrize(
    "same",
    [
        {"phone": "05121/99 88 77"},
        {"email": "M@Example.org"},
        {"address": "uferweg 3, 24999  Neustrand"},
    ],
)
def test_a_client_who_is_there_is_asked_about(client, office, known, same):
    sent = {"name": "mowe  Sorensen", "language": "en"} | same
    asked = client.post(reverse("client_add"), sent)
    assert asked.status_code == 422 and Client.objects.count() == 1
    page = asked.content.decode()
    assert f'href="{reverse("client_detail", args=[known.pk])}"' in page
    assert "Take that client instead" in page
    meant = client.post(reverse("client_add"), sent | {"meant": tick_of(asked)})
    assert meant.status_code == 302 and Client.objects.count() == 2


@pytest.mark.parametrize(
    "sent",
    [
        {"name": "Möwe Sørensen", "phone": "05121 998878"},
        {"name": "Möwe Sørensen"},
        {"name": "Jon Sørensen", "phone": "+49 5121 998877"},
        {"name": "Möwe", "email": "m@example.org"},
    ],
)
def test_another_client_is_asked_nothing(client, office, known, sent):
    answer = client.post(reverse("client_add"), sent | {"language": "en"})
    assert answer.status_code == 302 and Client.objects.count() == 2


def test_the_same_form_sent_twice_finds_its_own_client(client, office):
    sent = KNOWN | {"key": "6f1f1b4e-3d0a-4c7d-9a52-0b8c4d1a2e11"}
    first, second = (client.post(reverse("client_add"), sent) for _ in range(2))
    assert first.url == second.url and Client.objects.count() == 1


def test_a_client_who_is_changed_is_asked_nothing(client, office, known):
    twin = ClientFactory(**KNOWN | {"phone": ""})
    sent = KNOWN | {"phone": "", "version": twin.history.first().history_id}
    assert client.post(reverse("client_edit", args=[twin.pk]), sent).status_code == 302
