"""Guesses at a log-in: who is slowed down by whose, and that no flood makes anybody forget them."""

import re

import pytest
from allauth.mfa.totp.internal import auth
from allauth.mfa.totp.internal.auth import TOTP, generate_totp_secret, hotp_value
from django.core.cache import cache
from django.db import connection
from django.test import Client as Browser
from django.urls import reverse

from tests.factories import PASSWORD, UserFactory

pytestmark = pytest.mark.django_db
COUNTER = 58_000_000


@pytest.fixture(autouse=True)
def _standing_clock(monkeypatch) -> None:
    """Codes change every 30 seconds, in the middle of a test too."""
    monkeypatch.setattr(auth, "yield_hotp_counters_from_time", lambda: [COUNTER])


def try_log_in(browser, user, password: str = PASSWORD, *, address: str = "192.0.2.1"):
    fields = {"login": user.email, "password": password}
    return browser.post(reverse("account_login"), fields, REMOTE_ADDR=address)


def is_in(browser) -> bool:
    return browser.get(reverse("own_account")).status_code == 200


def guess_wrong(user, times: int, *, address: str = "192.0.2.66") -> None:
    for _guess in range(times):
        try_log_in(Browser(), user, "wrong", address=address)


def test_a_stranger_s_wrong_guesses_keep_nobody_out_elsewhere() -> None:
    user = UserFactory()
    guess_wrong(user, 6)
    stranger, owner = Browser(), Browser()
    try_log_in(stranger, user, address="192.0.2.66")
    assert not is_in(stranger)
    try_log_in(owner, user)
    assert is_in(owner)


def test_twenty_guesses_a_day_for_a_name_over_all_addresses() -> None:
    user = UserFactory()
    for number in range(5):
        guess_wrong(user, 4, address=f"192.0.2.{10 + number}")
    late = Browser()
    try_log_in(late, user, address="192.0.2.200")
    assert not is_in(late)  # the right password is the 21st guess
    other = UserFactory()
    try_log_in(late, other, address="192.0.2.200")
    assert is_in(late)


def test_addresses_of_one_network_count_together() -> None:
    user = UserFactory()
    for number in range(5):
        guess_wrong(user, 1, address=f"2001:db8:1:2::{number + 1}")
    near, far = Browser(), Browser()
    try_log_in(near, user, address="2001:db8:1:2:ffff::1")
    assert not is_in(near)
    try_log_in(far, user, address="2001:db8:1:3::1")
    assert is_in(far)


def test_a_known_device_is_locked_by_no_stranger() -> None:
    user = UserFactory()
    owner = Browser()
    try_log_in(owner, user)
    owner.post(reverse("account_logout"))
    for number in range(5):
        guess_wrong(user, 5, address=f"192.0.2.{10 + number}")
    guess_wrong(user, 5, address="192.0.2.1")  # behind the owner's own address too
    unknown = Browser()
    try_log_in(unknown, user)
    assert not is_in(unknown)
    try_log_in(owner, user)
    assert is_in(owner)


def test_a_device_is_known_for_its_own_names_and_slowed_down_itself() -> None:
    own, other = UserFactory(), UserFactory()
    browser = Browser()
    try_log_in(browser, own)
    browser.post(reverse("account_logout"))
    guess_wrong(other, 5, address="192.0.2.1")
    try_log_in(browser, other)
    assert not is_in(browser)
    for _guess in range(5):
        try_log_in(browser, own, "wrong")
    try_log_in(browser, own)
    assert not is_in(browser)


def test_the_mark_of_a_device_names_nobody_and_cannot_be_made_up() -> None:
    user, browser = UserFactory(), Browser()
    try_log_in(browser, user)
    mark = browser.cookies["ebbmark_device"]
    assert mark["httponly"]
    assert user.email not in mark.value
    forged = Browser()
    forged.cookies["ebbmark_device"] = re.sub(r"^.", "x", mark.value)
    guess_wrong(user, 5, address="192.0.2.1")
    try_log_in(forged, user)
    assert not is_in(forged)


def test_no_flood_makes_a_count_forgotten() -> None:
    user = UserFactory()
    guess_wrong(user, 5, address="192.0.2.1")
    for number in range(700):  # a cache of Django's own keeps 300
        cache.set(f"flood-{number}", "x", timeout=600)
    late = Browser()
    try_log_in(late, user)
    assert not is_in(late)


def test_what_is_past_its_time_goes() -> None:
    cache.set("past", "x", timeout=-5)
    for number in range(302):
        cache.set(f"flood-{number}", "x", timeout=600)
    with connection.cursor() as cursor:
        cursor.execute("SELECT count(*) FROM shared_cache")
        assert cursor.fetchone()[0] == 302


def code_of(secret: str) -> str:
    return f"{hotp_value(secret, COUNTER):06d}"


def test_a_stranger_with_the_password_keeps_nobody_from_their_code() -> None:
    user, secret = UserFactory(), generate_totp_secret()
    owner = Browser()
    try_log_in(owner, user)
    owner.post(reverse("account_logout"))
    TOTP.activate(user, secret)
    stranger = Browser()
    try_log_in(stranger, user, address="192.0.2.66")
    for _guess in range(6):
        stranger.post(reverse("mfa_authenticate"), {"code": "000000x"}, REMOTE_ADDR="192.0.2.66")
    right = {"code": code_of(secret)}
    stranger.post(reverse("mfa_authenticate"), right, REMOTE_ADDR="192.0.2.66")
    assert not is_in(stranger)
    try_log_in(owner, user)
    owner.post(reverse("mfa_authenticate"), {"code": code_of(secret)})
    assert is_in(owner)


def test_a_code_works_once() -> None:
    user, secret = UserFactory(), generate_totp_secret()
    TOTP.activate(user, secret)
    first, second = Browser(), Browser()
    for browser in (first, second):
        try_log_in(browser, user)
    code = code_of(secret)
    first.post(reverse("mfa_authenticate"), {"code": code})
    refused = second.post(reverse("mfa_authenticate"), {"code": code})
    assert is_in(first)
    assert not is_in(second)
    assert refused.status_code == 200


def test_the_code_that_set_an_app_up_logs_nobody_in(client) -> None:
    user = UserFactory()
    client.force_login(user)
    client.post(reverse("account_reauthenticate"), {"password": PASSWORD})
    page = client.get(reverse("mfa_activate_totp"))
    code = code_of(page.context["form"].secret)
    assert client.post(reverse("mfa_activate_totp"), {"code": code}).status_code == 302
    second = Browser()
    try_log_in(second, user)
    second.post(reverse("mfa_authenticate"), {"code": code})
    assert not is_in(second)
