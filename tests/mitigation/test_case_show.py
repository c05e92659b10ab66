"""The comparison as it is shown to the client on the assessor's screen."""

import pytest
from django.urls import reverse
from django.utils import timezone

from consult.models import User
from mitigation.models import Case, CaseVisit
from mitigation.services.cases import add_note
from surveys.models import GroundCheck, GroundPoint
from tests.factories import CaseFactory, ClientFactory, UserFactory, assign, compared_case

pytestmark = pytest.mark.django_db


@pytest.fixture
def assessor(client):
    user = UserFactory(role=User.Role.ASSESSOR, name="Jonas Ahrend", language="en")
    client.force_login(user)
    return user


@pytest.fixture
def case(assessor):
    case = compared_case(48.0, 2.4, property__client=ClientFactory(name="Ida Lund", language="de"))
    assign(assessor, case.property)
    return case


def page(client, case, **asked):
    return client.get(reverse("case_show", args=[case.reference]), asked)


def test_it_speaks_the_language_of_the_client_and_then_that_of_the_assessor_again(client, case):
    answer = page(client, case)
    shown = answer.content.decode()
    assert '<html lang="de">' in shown and answer["Content-Language"] == "de"
    assert (
        "Alle Ihre Schlafplätze liegen jetzt im Zielbereich." in shown
        and "Vorher und nachher" in shown
    )
    assert "48 ± 6" in shown and "2,40 ± 0,29" in shown and "keine gesetzlichen Grenzwerte" in shown
    own = client.get(reverse("case_detail", args=[case.reference])).content.decode()
    assert '<html lang="en">' in own and reverse("case_show", args=[case.reference]) in own


def test_nothing_that_is_for_the_practice_alone_stands_on_it(client, case, assessor):
    now = timezone.now()
    add_note(case=case, text="pays late", by=assessor, now=now)
    Case.objects.filter(pk=case.pk).update(on_hold_reason="has not paid", due_on="2026-01-01")
    own = client.get(reverse("case_detail", args=[case.reference])).content.decode()
    assert "pays late" in own and "has not paid" in own
    shown = page(client, case).content.decode()
    for words in ("pays late", "has not paid", "Notizen", "Nächster Schritt", "2026-01-01"):
        assert words not in shown


def test_the_filters_stay_on_the_page_and_in_its_language(client, case):
    shown = page(client, case).content.decode()
    here = reverse("case_show", args=[case.reference])
    assert f'action="{here}" hx-get="{here}"' in shown
    part = client.get(here, {"decision": "fail"}, headers={"HX-Request": "true"})
    assert part["Vary"].find("HX-Request") >= 0
    assert "<html" not in part.content.decode() and "0 von 1" in part.content.decode()
    assert "Schlafzimmer" not in part.content.decode()
    assert page(client, case, decision="fail").content.decode().count("48 ±") == 0


def test_a_danger_stops_here_too(client, case):
    point = GroundPoint.objects.create(property=case.property, name="Steckdose Flur")
    visit = case.visits.get(kind="baseline")
    GroundCheck.objects.create(visit=visit, point=point, outlet_test="fault")
    assert "Steckdose Flur" in page(client, case).content.decode().split('class="stop"')[1]


def test_before_the_follow_up_it_shows_what_was_found(client, case):
    CaseVisit.objects.get(visit__kind="follow-up").delete()
    shown = page(client, case).content.decode()
    assert "48 ± 6" in shown and "Befunde je Messpunkt" in shown
    assert "erreicht" not in shown.replace("Reichweite", "")


def test_with_nothing_measured_there_is_nothing_to_show(client, assessor):
    case = CaseFactory()
    assign(assessor, case.property)
    own = client.get(reverse("case_detail", args=[case.reference])).content.decode()
    assert reverse("case_show", args=[case.reference]) not in own
    assert "Nothing has been measured yet." in page(client, case).content.decode()
