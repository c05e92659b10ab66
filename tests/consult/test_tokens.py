"""Tokens of addresses stand in no log, and a changed log-in e-mail is told to both addresses."""

import logging
import re
from typing import Any
from urllib.parse import urlsplit

import pytest
from django.conf import settings
from django.urls import get_resolver, resolve, reverse

from consult.letters.checking import filled_in
from consult.logs import TokenFilter, without_tokens
from consult.models import AccessEvent, OutboundMail, User
from tests.access.test_matrix import _patterns
from tests.factories import PASSWORD, UserFactory
from tests.forms import opened

pytestmark = pytest.mark.django_db
TOKEN = "WzEsIjdkIl0:1vPq0a:abc_DEF-123"


@pytest.mark.parametrize(
    "path",
    [
        f"/invitation/{TOKEN}/",
        f"/letters/link/{TOKEN}/",
        f"/letters/link/{TOKEN}/pdf/",
        f"/offers/link/{TOKEN}/decide/",
        f"/work-orders/link/{TOKEN}/answer/",
        f"/calendar/feed/{TOKEN}/appointments.ics",
        f"/data/copies/{TOKEN}/",
        f"/accounts/password/reset/key/{TOKEN}/",
        f"/accounts/confirm-email/{TOKEN}/",
    ],
)
def test_no_handler_of_the_log_writes_a_token(path) -> None:
    logging_settings: dict[str, Any] = settings.LOGGING
    assert logging_settings["handlers"]["stderr"]["filters"] == ["tokens"]
    assert logging_settings["root"]["handlers"] == ["stderr"]
    record = logging.LogRecord("django.request", 30, "", 1, "Gone: %s", (path,), None)
    assert TokenFilter().filter(record)
    line = record.getMessage()
    assert TOKEN not in line
    assert line.startswith("Gone: /") and "…" in line


def test_no_address_with_a_token_is_forgotten() -> None:
    patterns = [str(entry.pattern) for entry in _patterns(get_resolver())]
    routes = [pattern for pattern in patterns if "token" in pattern]
    assert len(routes) > 8
    for route in routes:
        path = re.sub(r"<str:token>|\(\?P<token>[^)]*\)", TOKEN, route)
        assert TOKEN not in without_tokens(f"/{path.lstrip('^')}"), route


def test_the_access_log_keeps_no_token_either(client) -> None:
    client.force_login(UserFactory(role=User.Role.ASSESSOR))
    assert client.get(reverse("data_package", args=["a-secret-token"])).status_code == 403
    assert AccessEvent.objects.get().what == "GET /data/copies/…/"


def test_the_code_of_a_letter_is_in_no_address_that_a_server_sees() -> None:
    """Nothing has to be taken out of a log: a browser keeps what is behind the # to itself."""
    address = urlsplit(filled_in("https://x.example/check/", "2026-0042", "AAAAA-CCCCC-DDDDD"))
    assert address.fragment == "2026-0042.AAAAA-CCCCC-DDDDD"
    assert (address.path, address.query) == ("/check/", "")
    assert resolve(address.path).kwargs == {}


def test_no_log_line_of_a_question_has_what_was_typed(client, caplog) -> None:
    caplog.set_level(logging.DEBUG)
    sent = {"number": "2026-0042", "code": "AAAAA-CCCCC-DDDDD"}
    for _times in range(12):
        answer = client.post(reverse("letter_check"), sent)
    assert answer.status_code == 429
    assert "CCCCC" not in caplog.text
    assert not AccessEvent.objects.exists()


def test_a_changed_e_mail_asks_who_changes_it_again_and_is_told_to_both(client) -> None:
    manager = UserFactory(is_manager=True)
    person = UserFactory(email="old@example.org", name="Nils Brandt")
    client.force_login(manager)
    page = reverse("person_detail", args=[person.pk])
    form = opened(client, page) | {"email": "new@example.org"}
    asked = client.post(page, form)
    assert asked.url.startswith(reverse("account_reauthenticate"))
    person.refresh_from_db()
    assert person.email == "old@example.org"
    assert not OutboundMail.objects.exists()
    client.post(asked.url, {"password": PASSWORD, "next": page})
    person.refresh_from_db()
    assert person.email == "new@example.org"
    mails = OutboundMail.objects.filter(subject__startswith="The e-mail of your log-in")
    assert set(mails.values_list("to", flat=True)) == {"old@example.org", "new@example.org"}
    assert all("old@example.org to new@example.org" in mail.body for mail in mails)


def test_another_change_asks_nobody_again(client) -> None:
    client.force_login(UserFactory(is_manager=True))
    person = UserFactory(name="Nils Brandt")
    page = reverse("person_detail", args=[person.pk])
    form = opened(client, page) | {"name": "Nils Brand"}
    assert client.post(page, form).url == page
    person.refresh_from_db()
    assert person.name == "Nils Brand"
