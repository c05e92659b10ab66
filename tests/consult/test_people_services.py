"""People: invited once, changed with a trace, kept out at once."""

from datetime import timedelta

import pytest
from django.core import mail
from django.core.exceptions import ValidationError
from django.core.mail import EmailMessage
from django.test import Client as Browser
from django.urls import reverse
from django.utils import timezone

from consult.models import AccessEvent, Job, OutboundMail, User
from consult.services import people
from consult.tasks import run_job
from tests.factories import PASSWORD, ClientFactory, FirmFactory, UserFactory

pytestmark = pytest.mark.django_db

SITE = "https://practice.example/"
NEW_PASSWORD = "nine-quiet-lamps"


@pytest.fixture
def manager() -> User:
    return UserFactory(is_manager=True, name="Ada Kern")


def invite(manager: User, **fields) -> User:
    given = {
        "email": "new@example.org",
        "name": "Nils Brandt",
        "role": "assessor",
        "language": "en",
        "firm": None,
        "is_manager": False,
    }
    return people.invite_person(by=manager, site=SITE, now=timezone.now(), **(given | fields))


def link_of(message: OutboundMail | EmailMessage) -> str:
    return next(line for line in message.body.splitlines() if line.startswith(SITE))


def test_an_invitation_goes_out_by_a_job_and_lets_somebody_in_once(manager, client) -> None:
    user = invite(manager)
    assert not user.has_usable_password()
    run_job(Job.objects.get(kind="send-mail").pk)
    assert [message.to for message in mail.outbox] == [["new@example.org"]]
    path = link_of(mail.outbox[0]).removeprefix(SITE.rstrip("/"))
    assert client.get(path).status_code == 200
    user.refresh_from_db()
    assert not user.has_usable_password()  # opening the link is no act
    answer = {"password": NEW_PASSWORD, "again": NEW_PASSWORD}
    assert client.post(path, answer).status_code == 302
    user.refresh_from_db()
    assert user.check_password(NEW_PASSWORD)
    assert client.get(path).status_code == 410
    assert client.post(path, answer).status_code == 410
    kinds = list(AccessEvent.objects.order_by("pk").values_list("kind", flat=True))
    assert kinds == ["invited", "accepted"]


@pytest.mark.parametrize(
    ("password", "again"), [("short", "short"), (NEW_PASSWORD, "another-long-one"), ("", "")]
)
def test_a_password_that_will_not_do_is_refused_with_a_word(
    password, again, manager, client
) -> None:
    user = invite(manager)
    path = reverse("invitation", args=[people.invitation_token(user)])
    response = client.post(path, {"password": password, "again": again})
    assert response.status_code == 422
    assert "errorlist" in response.content.decode()
    user.refresh_from_db()
    assert not user.has_usable_password()


def test_an_invitation_grows_old(manager, monkeypatch) -> None:
    user = invite(manager)
    token = people.invitation_token(user)
    assert people.invited_person(token) == user
    monkeypatch.setattr(people, "INVITATION_HOLDS", timedelta(seconds=-1))
    assert people.invited_person(token) is None


def test_a_forged_invitation_and_one_of_somebody_kept_out_are_worth_nothing(manager) -> None:
    user = invite(manager)
    token = people.invitation_token(user)
    assert people.invited_person(token[:-2] + "xx") is None
    people.deactivate_person(user=user, by=manager, now=timezone.now())
    assert people.invited_person(token) is None


def test_an_invitation_to_an_old_address_ends_with_the_change(manager) -> None:
    user = invite(manager)
    token = people.invitation_token(user)
    people.change_person(user=user, by=manager, now=timezone.now(), email="other@example.org")
    assert people.invited_person(token) is None


def test_a_client_is_invited_by_the_e_mail_that_stands_with_the_client(manager) -> None:
    with pytest.raises(ValidationError, match="No client"):
        invite(manager, role="client")
    assert not User.objects.filter(email="new@example.org").exists()
    client = ClientFactory(email="New@example.org")
    user = invite(manager, role="client")
    client.refresh_from_db()
    assert client.user == user


def test_deactivation_ends_sessions_at_once(manager) -> None:
    user = UserFactory()
    browser = Browser()
    browser.post(reverse("account_login"), {"login": user.email, "password": PASSWORD})
    assert browser.get(reverse("own_account")).status_code == 200
    people.deactivate_person(user=user, by=manager, now=timezone.now())
    assert not browser.session.keys()
    assert browser.get(reverse("own_account")).status_code == 302
    browser.post(reverse("account_login"), {"login": user.email, "password": PASSWORD})
    assert browser.get(reverse("own_account")).status_code == 302
    people.reactivate_person(user=user, by=manager, now=timezone.now())
    browser.post(reverse("account_login"), {"login": user.email, "password": PASSWORD})
    assert browser.get(reverse("own_account")).status_code == 200


def test_a_change_leaves_before_and_after_in_log_and_history(manager) -> None:
    user = UserFactory(name="Old Name")
    firm = FirmFactory()
    people.change_person(
        user=user, by=manager, now=timezone.now(), name="New Name", role="electrician", firm=firm
    )
    event = AccessEvent.objects.get(kind="changed")
    assert (event.user, event.about) == (manager, user)
    assert "name: Old Name \u2192 New Name" in event.what
    assert [row.name for row in user.history.all()] == ["New Name", "Old Name"]


def test_nobody_locks_themselves_out(manager) -> None:
    now = timezone.now()
    with pytest.raises(ValidationError, match="yourself"):
        people.deactivate_person(user=manager, by=manager, now=now)
    for fields in ({"is_manager": False}, {"role": "assessor", "is_manager": False}):
        with pytest.raises(ValidationError, match="own hands"):
            people.change_person(user=manager, by=manager, now=now, **fields)
    people.change_person(user=manager, by=manager, now=now, name="Ada Kern-Holt")


def test_the_log_is_only_added_to() -> None:
    event = people.record_event(kind=AccessEvent.Kind.LOGGED_IN, now=timezone.now())
    with pytest.raises(TypeError):
        event.save()
    with pytest.raises(TypeError):
        event.delete()
