"""A mail is whose its row says, not whose address it went to."""

import json
from importlib import import_module

import pytest
from django.apps import apps
from django.utils import timezone

from consult.models import AccessEvent, OutboundMail
from consult.services.mail import queue_mail
from consult.services.people import record_event
from consult.services.privacy.erasures import erase_person, subject_of
from consult.services.privacy.persons import keys_of
from consult.services.sending import email_letter
from tests.factories import ClientFactory, UserFactory, ready_letter
from tests.privacy.planted import closed_case
from tests.privacy.test_packages import copy_of

pytestmark = pytest.mark.django_db
NOW = timezone.now()


def mistyped_client():
    """A client for whom the office typed the e-mail of somebody else, who has a log-in."""
    somebody = UserFactory(email="somebody@example.org")
    client = closed_case().property.client
    client.email = somebody.email
    client.save()
    return client, somebody


def test_a_mistyped_e_mail_pulls_nobody_else_s_mails_into_a_copy() -> None:
    client, somebody = mistyped_client()
    queue_mail(key="theirs", user=somebody, to=somebody.email, subject="s", body="private words")
    record_event(kind=AccessEvent.Kind.LOGIN_REFUSED, now=NOW, what=somebody.email, about=somebody)
    assert "private words" in "\n".join(copy_of(somebody).values())
    assert "private words" not in "\n".join(copy_of(client).values())
    assert not keys_of(subject_of(client))["consult.AccessEvent"]


def test_nor_does_the_client_s_erasure_take_them() -> None:
    client, somebody = mistyped_client()
    theirs = queue_mail(key="theirs", user=somebody, to=somebody.email, subject="s", body="b")
    own = queue_mail(key="own", client=client, to=client.email, subject="s", body="b")
    erase_person(person=client, by=UserFactory(is_manager=True), now=NOW)
    assert OutboundMail.objects.filter(pk=theirs.pk).exists()
    assert not OutboundMail.objects.filter(pk=own.pk).exists()


def test_a_letter_s_mail_belongs_to_its_client_and_its_link_is_not_in_a_copy() -> None:
    case = closed_case()
    client = case.property.client
    client.email = "own@example.org"
    client.save()
    letter = ready_letter(case)
    letter.refresh_from_db()
    sent = email_letter(letter=letter, by=UserFactory(), site="https://site.example", now=NOW)
    assert (sent.client, sent.letter, sent.user) == (client, letter, None)
    token = sent.body.split("/letters/link/")[1].split("/")[0]
    text = copy_of(client)["data.json"].encode("latin-1").decode()
    assert letter.number in text
    assert token not in text
    assert "https://site.example/…" in text
    assert json.loads(text)


def test_older_mails_are_given_to_whom_their_key_names_or_a_confirmed_address() -> None:
    case = closed_case()
    letter = ready_letter(case)
    user, invited = UserFactory(), UserFactory(email="invited@example.org")
    invited.set_unusable_password()
    invited.save()
    ClientFactory(email="unconfirmed@example.org")
    keys = {
        f"letter-link:{letter.pk}:1": "x@example.org",
        f"invitation:{invited.pk}:1": "x@example.org",
        "log-in:1": user.email.upper(),
        "log-in:2": invited.email,
        "log-in:3": "unconfirmed@example.org",
        "data-request:1": "office@example.org",
    }
    for number, (key, to) in enumerate(keys.items()):
        OutboundMail.objects.create(key=key, to=to, subject="s", body="b", message_id=str(number))
    import_module("consult.migrations.0016_whose_mails").say_whose(apps, None)
    whose = {
        key.partition(":")[0] + key[-1]: (client, by, about)
        for key, client, by, about in OutboundMail.objects.values_list(
            "key", "client", "user", "letter"
        )
    }
    assert whose == {
        "letter-link1": (letter.client_id, None, letter.pk),
        "invitation1": (None, invited.pk, None),
        "log-in1": (None, user.pk, None),
        "log-in2": (None, None, None),
        "log-in3": (None, None, None),
        "data-request1": (None, None, None),
    }
