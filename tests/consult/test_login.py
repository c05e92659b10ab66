"""The door: who gets in, who is noted, in which language, with what second factor."""

import re
from unittest import mock

import pytest
from allauth.mfa.models import Authenticator
from allauth.mfa.totp.internal.auth import (
    TOTP,
    generate_totp_secret,
    hotp_value,
    yield_hotp_counters_from_time,
)
from django.conf import settings
from django.core import mail
from django.core.cache import cache, caches
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from fido2.webauthn import PublicKeyCredentialDescriptor, PublicKeyCredentialType

from consult.models import AccessEvent, Job, OutboundMail
from consult.services.people import change_person
from consult.tasks import run_job
from tests.factories import PASSWORD, UserFactory

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _no_earlier_tries(db: None) -> None:
    cache.clear()


def log_in(client, user, password: str = PASSWORD):
    return client.post(reverse("account_login"), {"login": user.email, "password": password})


def test_a_log_in_is_noted_with_its_address(client) -> None:
    user = UserFactory()
    assert log_in(client, user).status_code == 302
    event = AccessEvent.objects.get()
    assert (event.kind, event.user, event.address) == ("logged-in", user, "127.0.0.1")


def test_a_refusal_is_noted_and_not_what_was_typed_by_mistake(client) -> None:
    user = UserFactory()
    assert log_in(client, user, "wrong").status_code == 200
    event = AccessEvent.objects.get()
    assert (event.kind, event.user, event.about) == ("login-refused", None, user)
    client.post(reverse("account_login"), {"login": "my-secret", "password": "x"})
    assert not AccessEvent.objects.filter(what__contains="my-secret").exists()


def test_somebody_who_is_kept_out_is_noted_when_they_try(client) -> None:
    user = UserFactory(is_active=False)
    assert log_in(client, user).url == reverse("account_inactive")
    assert client.get(reverse("home")).status_code == 302
    event = AccessEvent.objects.get()
    assert (event.kind, event.user, event.about) == ("login-refused", None, user)
    assert event.what == "kept out"


def test_guessing_is_slowed_down(client) -> None:
    user = UserFactory()
    for _try in range(6):
        log_in(client, user, "wrong")
    log_in(client, user)  # even the right one has to wait now
    assert client.get(reverse("own_account")).status_code == 302


def test_several_web_processes_count_the_tries_together(client, settings) -> None:
    settings.CACHES = {
        "default": {
            "BACKEND": "django.core.cache.backends.db.DatabaseCache",
            "LOCATION": "shared_cache",
        }
    }
    user = UserFactory()
    for _try in range(6):
        log_in(client, user, "wrong")
        caches.close_all()
        del caches["default"]  # as in another process: nothing is remembered but the rows
    log_in(client, user)
    assert client.get(reverse("own_account")).status_code == 302
    with connection.cursor() as cursor:
        cursor.execute("SELECT count(*) FROM shared_cache")
        assert cursor.fetchone()[0] > 0


def ask_reset(client, email: str) -> None:
    """Ask for a new password, and have the job look for who logs in by the address."""
    asked = client.post(reverse("account_reset_password"), {"email": email})
    assert asked.url == reverse("account_reset_password_done")
    job = Job.objects.filter(kind="reset-password").latest("pk")
    assert run_job(job.pk)
    job.refresh_from_db()
    assert (job.state, job.arguments) == ("done", {})


def test_a_reset_does_the_same_work_for_a_known_name_and_an_unknown_one(client) -> None:
    """The request neither looks for the name nor makes a token nor renders a mail."""
    known = UserFactory()
    work = []
    for email in ("first@example.org", known.email, "nobody@example.org"):
        with CaptureQueriesContext(connection) as queries:
            client.post(reverse("account_reset_password"), {"email": email})
        statements = [re.sub(r"'[^']*'|\d+", "?", query["sql"]) for query in queries]
        work.append([text for text in statements if "SAVEPOINT" not in text])
    assert work[1] == work[2]
    assert not [text for text in work[1] if "consult_user" in text or "outboundmail" in text]
    assert Job.objects.filter(kind="reset-password").count() == 3
    assert not OutboundMail.objects.exists()


def test_a_forgotten_password_is_mailed_by_a_job(client) -> None:
    user = UserFactory()
    ask_reset(client, user.email)
    assert not mail.outbox
    run_job(Job.objects.get(kind="send-mail").pk)
    (message,) = mail.outbox
    assert message.to == [user.email]
    link = next(word for word in message.body.split() if "/password/reset/key/" in word)
    form = client.get(link.removeprefix(settings.SITE_URL), follow=True)
    assert form.status_code == 200
    new = {"password1": "nine-quiet-lamps", "password2": "nine-quiet-lamps"}
    assert client.post(form.request["PATH_INFO"], new).status_code == 302
    assert AccessEvent.objects.get(kind="changed").what == "password"
    user.refresh_from_db()
    assert user.check_password("nine-quiet-lamps")


def reset_link(client, user) -> str:
    """The page that the mail for a new password leads to."""
    ask_reset(client, user.email)
    body = OutboundMail.objects.get(to=user.email).body
    link = next(word for word in body.split() if "/password/reset/key/" in word)
    return client.get(link.removeprefix(settings.SITE_URL), follow=True).request["PATH_INFO"]


def test_after_too_many_wrong_ones_a_new_password_lets_one_in_at_once(client) -> None:
    user = UserFactory()
    for _try in range(6):
        log_in(client, user, "forgotten")
    assert log_in(client, user).status_code == 200  # too many
    new = {"password1": "nine-quiet-lamps", "password2": "nine-quiet-lamps"}
    assert client.post(reset_link(client, user), new).status_code == 302
    assert log_in(client, user, "nine-quiet-lamps").status_code == 302
    assert client.get(reverse("own_account")).status_code == 200


def test_an_e_mail_that_was_changed_opens_nothing_any_more(client) -> None:
    """Whoever reads the old mailbox gets neither in nor a new password."""
    user, manager = UserFactory(email="old@example.org"), UserFactory(is_manager=True)
    reset_link(client, user)  # the library keeps the address from here on
    log_in(client, user)
    client.logout()
    change_person(user=user, by=manager, now=timezone.now(), email="new@example.org")
    OutboundMail.objects.all().delete()
    ask_reset(client, "old@example.org")
    assert not OutboundMail.objects.exists()
    fields = {"login": "old@example.org", "password": PASSWORD}
    assert client.post(reverse("account_login"), fields).status_code == 200
    fields = {"login": "new@example.org", "password": PASSWORD}
    assert client.post(reverse("account_login"), fields).status_code == 302
    client.logout()
    ask_reset(client, "new@example.org")
    assert OutboundMail.objects.get().to == "new@example.org"


@pytest.mark.parametrize("whose", ["nobody", "kept out"])
def test_no_mail_goes_to_whom_no_log_in_is_for(client, whose) -> None:
    """Or a stranger could have the practice write to anybody, and offer them to sign up."""
    if whose == "kept out":
        UserFactory(email="them@example.org", is_active=False)
    ask_reset(client, "them@example.org")
    assert not OutboundMail.objects.exists()
    known = UserFactory()
    ask_reset(client, known.email)
    assert OutboundMail.objects.get().to == known.email


def test_nobody_signs_up(client) -> None:
    fields = {"email": "new@example.org", "password1": PASSWORD, "password2": PASSWORD}
    page = client.post(reverse("account_signup"), fields)
    assert page.status_code == 200
    assert not OutboundMail.objects.exists()


def test_with_a_second_factor_the_password_alone_opens_nothing(client) -> None:
    user = UserFactory()
    secret = generate_totp_secret()
    TOTP.activate(user, secret)
    assert log_in(client, user).url == reverse("mfa_authenticate")
    assert client.get(reverse("own_account")).status_code == 302
    assert client.post(reverse("mfa_authenticate"), {"code": "000000x"}).status_code == 200
    refused = AccessEvent.objects.get()
    assert (refused.kind, refused.about, refused.what) == ("login-refused", user, "second factor")
    code = hotp_value(secret, next(iter(yield_hotp_counters_from_time())))
    response = client.post(reverse("mfa_authenticate"), {"code": f"{code:06d}"})
    assert response.status_code == 302
    assert client.get(reverse("own_account")).status_code == 200
    assert Authenticator.objects.get(user=user).last_used_at is not None


def test_only_a_passkey_that_is_there_is_offered_as_second_factor(client) -> None:
    user = UserFactory()
    TOTP.activate(user, generate_totp_secret())
    log_in(client, user)
    assert "Use your passkey" not in client.get(reverse("mfa_authenticate")).content.decode()
    passkey = PublicKeyCredentialDescriptor(type=PublicKeyCredentialType.PUBLIC_KEY, id=b"a key")
    with mock.patch("allauth.mfa.webauthn.internal.auth.get_credentials", return_value=[passkey]):
        page = client.get(reverse("mfa_authenticate")).content.decode()
    assert "Use your passkey" in page


def test_pages_speak_the_language_of_who_is_logged_in(client) -> None:
    user = UserFactory(language="de")
    client.force_login(user)
    page = client.get(reverse("own_account"), headers={"accept-language": "en"})
    assert '<html lang="de">' in page.content.decode()
    client.post(reverse("own_language"), {"language": "en"})
    page = client.get(reverse("own_account"), headers={"accept-language": "de"})
    assert '<html lang="en">' in page.content.decode()
    user.refresh_from_db()
    assert user.language == "en"
