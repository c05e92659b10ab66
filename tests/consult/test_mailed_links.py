"""Links in mails begin with SITE_URL, whatever host a request says that it asked."""

import re

import pytest
from django.urls import reverse

from consult.adapters import ClosedAccountAdapter
from consult.models import Client, Job, OutboundMail
from consult.tasks import run_job
from tests.factories import UserFactory, compared_case, ready_letter

pytestmark = pytest.mark.django_db
FORGED = "other.example"


@pytest.fixture(autouse=True)
def _two_hosts(settings) -> None:
    """The site answers under both names, and calls itself by the first."""
    settings.ALLOWED_HOSTS = ["survey.example", FORGED]
    settings.SITE_URL = "https://survey.example"


def links_mailed() -> list[str]:
    (mail,) = OutboundMail.objects.all()
    assert FORGED not in mail.body + mail.subject
    return re.findall(r"https?://\S+", mail.body)


def test_a_new_password(client) -> None:
    user = UserFactory()
    where = reverse("account_reset_password")
    assert client.post(where, {"email": user.email}, HTTP_HOST=FORGED).status_code == 302
    assert run_job(Job.objects.get(kind="reset-password").pk)
    (link,) = links_mailed()
    assert link.startswith("https://survey.example/accounts/password/reset/key/")


def test_an_invitation(client) -> None:
    client.force_login(UserFactory(is_manager=True))
    person = {"name": "Ines Lund", "email": "ines@example.org", "role": "office", "language": "en"}
    assert client.post(reverse("person_invite"), person, HTTP_HOST=FORGED).status_code == 302
    (link,) = links_mailed()
    assert link.startswith("https://survey.example/")


def test_a_letter(client) -> None:
    client.force_login(UserFactory())
    letter = ready_letter(compared_case())
    Client.objects.filter(pk=letter.client_id).update(email="ida@example.org")
    where = reverse("letter_send", args=[letter.number, "email"])
    assert client.post(where, HTTP_HOST=FORGED).status_code == 302
    (link,) = links_mailed()
    assert link.startswith("https://survey.example/")


def test_a_mail_of_the_log_in_library(rf) -> None:
    """The one of its mails that names the site. Nobody gets it here."""
    user, request = UserFactory(), rf.get("/", HTTP_HOST=FORGED)
    context = {"user": user, "request": request, "activate_url": "", "code": "1234"}
    mails = ClosedAccountAdapter(request)
    mails.send_mail("account/email/email_confirmation", user.email, context)
    links_mailed()
    assert "survey.example" in OutboundMail.objects.get().body
