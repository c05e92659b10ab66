"""Pages about people: who runs the practice enters, changes and reads."""

import pytest
from allauth.mfa.models import Authenticator
from allauth.mfa.totp.internal.auth import TOTP, generate_totp_secret
from django.db import connection
from django.test import Client as Browser
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from consult.models import AccessEvent, Firm, OutboundMail, Practice, User
from consult.services.people import record_event
from tests.factories import PASSWORD, FirmFactory, UserFactory
from tests.forms import opened

pytestmark = pytest.mark.django_db


@pytest.fixture
def manager(client) -> User:
    user = UserFactory(is_manager=True)
    client.force_login(user)
    return user


PERSON = {"name": "Nils Brandt", "email": "nils@example.org", "role": "assessor", "language": "de"}


def test_somebody_is_invited_on_the_page(manager, client) -> None:
    assert client.post(reverse("person_invite"), PERSON).status_code == 302
    assert User.objects.get(email="nils@example.org").language == "de"
    assert "Nils Brandt" in client.get(reverse("person_list")).content.decode()


@pytest.mark.parametrize(
    ("fields", "word"),
    [
        ({"email": ""}, "required"),
        ({"role": "electrician"}, "belongs to a firm"),
        ({"is_manager": "on"}, "Only somebody of the office"),
        ({"role": "client"}, "No client without a log-in"),
    ],
)
def test_an_invitation_that_will_not_do_says_why(fields, word, manager, client) -> None:
    response = client.post(reverse("person_invite"), PERSON | fields)
    assert response.status_code == 422
    assert word in response.content.decode()
    assert not User.objects.filter(email="nils@example.org").exists()


def test_one_e_mail_is_one_log_in_whatever_its_case(manager, client) -> None:
    UserFactory(email="nils@example.org")
    response = client.post(reverse("person_invite"), PERSON | {"email": "NILS@example.org"})
    assert response.status_code == 422


def test_a_person_is_changed_and_kept_out_on_the_page(manager, client) -> None:
    user = UserFactory(role="assessor", name="Old Name")
    page = reverse("person_detail", args=[user.pk])
    changed = client.post(page, opened(client, page) | {"name": "New Name"})
    assert changed.status_code == 302
    client.post(reverse("person_act", args=[user.pk, "deactivate"]))
    user.refresh_from_db()
    assert (user.name, user.is_active) == ("New Name", False)
    shown = client.get(page).content.decode()
    assert "Old Name \u2192 New Name" in shown
    assert "deactivated" in shown


def test_firms_and_letterhead_are_kept_with_history(manager, client) -> None:
    assert (
        client.post(reverse("firm_add"), {"name": "Calm Wiring", "language": "en"}).status_code
        == 302
    )
    firm = Firm.objects.get(name="Calm Wiring")
    page = reverse("firm_edit", args=[firm.pk])
    client.post(page, opened(client, page) | {"licence": "L-7"})
    assert [row.licence for row in firm.history.all()] == ["L-7", ""]
    head = {"name": "Quiet Rooms", "country": "us", "signatory": "A. Kern"}
    head = opened(client, reverse("practice")) | head
    assert client.post(reverse("practice"), head).status_code == 302
    assert Practice.objects.get().country == "US"
    assert client.post(reverse("practice"), head | {"country": "Germany"}).status_code == 422


def test_a_list_of_people_costs_the_same_for_one_and_for_many(manager, client) -> None:
    client.get(reverse("person_list"))
    from_one = _queries(client, reverse("person_list"))
    for _number in range(20):
        UserFactory(role="electrician", firm=FirmFactory())
    assert _queries(client, reverse("person_list")) == from_one


def _queries(client, url: str) -> int:
    with CaptureQueriesContext(connection) as queries:
        assert client.get(url).status_code == 200
    return len(queries)


def test_a_page_beyond_the_role_is_noted(client) -> None:
    user = UserFactory(role="client")
    client.force_login(user)
    assert client.get(reverse("person_list")).status_code == 403
    event = AccessEvent.objects.get()
    assert (event.kind, event.user, event.what) == ("page-refused", user, "GET /people/")


def test_the_log_is_for_who_runs_the_practice() -> None:
    manager, office = UserFactory(is_manager=True), UserFactory()
    record_event(kind=AccessEvent.Kind.LOGGED_IN, now=timezone.now(), by=office)
    assert AccessEvent.objects.visible_to(manager).count() == 1
    assert not AccessEvent.objects.visible_to(office).exists()


def test_a_lost_phone_is_no_end(manager, client) -> None:
    """Phone, key and codes are gone: who runs the practice takes the second factor off."""
    person = UserFactory(role="assessor", language="de")
    TOTP.activate(person, generate_totp_secret())
    page = reverse("person_detail", args=[person.pk])
    act = reverse("person_act", args=[person.pk, "drop-second-factor"])
    assert act in client.get(page).content.decode()
    client.post(act)
    assert not Authenticator.objects.exists()
    fields = {"login": person.email, "password": PASSWORD}
    Browser().post(reverse("account_login"), fields)
    assert AccessEvent.objects.filter(kind="logged-in", user=person).exists()
    assert AccessEvent.objects.get(kind="changed").user == manager
    told = OutboundMail.objects.get()
    assert told.to == person.email and "Wiederherstellungscodes" in told.body
    assert act not in client.get(page).content.decode()
    client.post(act)  # a double click
    assert OutboundMail.objects.count() == 1


def test_nobody_takes_off_their_own_second_factor_there(manager, client) -> None:
    TOTP.activate(manager, generate_totp_secret())
    page = reverse("person_detail", args=[manager.pk])
    assert "drop-second-factor" not in client.get(page).content.decode()
    client.post(reverse("person_act", args=[manager.pk, "drop-second-factor"]))
    assert Authenticator.objects.filter(user=manager).exists()
