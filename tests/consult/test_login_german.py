"""The log-in library's pages and mails call people "Sie", as all other pages do."""

import re

import pytest
from django.core import mail
from django.urls import reverse
from django.utils.translation import gettext, override

from consult.adapters import SAID_ANEW
from consult.models import Job, OutboundMail
from consult.tasks import run_job
from tests.factories import UserFactory

pytestmark = pytest.mark.django_db
FAMILIAR = re.compile(r"\b(du|dich|dir|dein\w*|bist|gib)\b", re.IGNORECASE)


@pytest.mark.parametrize("text", SAID_ANEW, ids=lambda text: text[:30])
def test_a_text_of_the_library_is_said_formally(text) -> None:
    with override("de"):
        german = gettext(text)
    assert german != text and not FAMILIAR.search(german)


@pytest.mark.parametrize("name", ["account_reset_password", "account_reset_password_done"])
def test_a_page_for_nobody_is_formal(client, name) -> None:
    page = client.get(reverse(name), headers={"accept-language": "de"}).content.decode()
    assert 'lang="de"' in page and "Sie" in page and not FAMILIAR.search(page)


@pytest.mark.parametrize("name", ["account_logout", "account_change_password"])
def test_a_page_for_people_is_formal(client, name) -> None:
    client.force_login(UserFactory(language="de"))
    page = client.get(reverse(name)).content.decode()
    assert 'lang="de"' in page and not FAMILIAR.search(page)


def test_the_mail_for_a_new_password_is_formal(client) -> None:
    user = UserFactory(language="de")
    asked = client.post(
        reverse("account_reset_password"),
        {"email": user.email},
        headers={"accept-language": "de"},
    )
    assert asked.status_code == 302 and not mail.outbox
    run_job(Job.objects.get(kind="reset-password").pk)
    sent = OutboundMail.objects.get(to=user.email)
    assert "Wählen Sie es hier" in sent.body and not FAMILIAR.search(sent.body)


@pytest.mark.parametrize(("own", "of_the_browser"), [("de", "en"), ("en", "de")])
def test_the_mail_is_in_its_readers_language(client, own, of_the_browser) -> None:
    """The office asks for somebody, or they sit at a borrowed computer."""
    user = UserFactory(language=own)
    headers = {"accept-language": of_the_browser}
    client.post(reverse("account_reset_password"), {"email": user.email}, headers=headers)
    run_job(Job.objects.get(kind="reset-password").pk)
    sent = OutboundMail.objects.get(to=user.email)
    assert ("Passwort" in sent.body) == (own == "de")
