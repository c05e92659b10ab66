"""The list of log-ins names a browser as people call it.

The first six are examples of MDN Web Docs, "User-Agent" and "Navigator: userAgent property"
(developer.mozilla.org, with version numbers in place of x.y); the others are from memory.
"""

import pytest
from django.test import Client
from django.urls import reverse
from django.utils.translation import override

from consult.templatetags.browsers import browser_name
from tests.factories import PASSWORD, UserFactory

KHTML = "AppleWebKit/537.36 (KHTML, like Gecko)"
MOBILE = "AppleWebKit/605.1.15 (KHTML, like Gecko)"


@pytest.mark.parametrize(
    ("said", "name"),
    [
        ("(Windows NT 10.0; Win64; x64; rv:124.0) Gecko/20100101 Firefox/124.0",
         "Firefox on Windows"),
        ("(Macintosh; Intel Mac OS X 10.15; rv:42.0) Gecko/20100101 Firefox/42.0",
         "Firefox on macOS"),
        (f"(X11; Linux x86_64) {KHTML} Chrome/51.0.2704.103 Safari/537.36", "Chrome on Linux"),
        (f"(Macintosh; Intel Mac OS X 10_15_7) {KHTML} Chrome/143.0.0.0 Safari/537.36",
         "Chrome on macOS"),
        (f"(Linux; Android 10; K) {KHTML} Chrome/143.0.0.0 Mobile Safari/537.36",
         "Chrome on Android"),
        (f"(iPhone; CPU iPhone OS 13_5_1 like Mac OS X) {MOBILE} Version/13.1.1 Mobile/15E148 "
         "Safari/604.1", "Safari on iPhone"),
        (f"(Macintosh; Intel Mac OS X 10_15_7) {MOBILE} Version/17.4 Safari/605.1.15",
         "Safari on macOS"),
        (f"(iPad; CPU OS 17_4 like Mac OS X) {MOBILE} CriOS/123.0 Mobile/15E148 Safari/604.1",
         "Chrome on iPad"),
        (f"(iPhone; CPU iPhone OS 17_4 like Mac OS X) {MOBILE} FxiOS/124.0 Mobile/15E148 "
         "Safari/605.1.15", "Firefox on iPhone"),
        (f"(Windows NT 10.0; Win64; x64) {KHTML} Chrome/127.0.0.0 Safari/537.36 Edg/127.0.0.0",
         "Edge on Windows"),
        (f"(Linux; Android 10; K) {KHTML} Chrome/127.0.0.0 Mobile Safari/537.36 EdgA/127.0.0.0",
         "Edge on Android"),
        (f"(X11; Linux x86_64) {KHTML} Chrome/127.0.0.0 Safari/537.36 OPR/113.0.0.0",
         "Opera on Linux"),
        (f"(Linux; Android 10; K) {KHTML} SamsungBrowser/25.0 Chrome/121.0.0.0 Mobile "
         "Safari/537.36", "Samsung Internet on Android"),
        (f"(X11; CrOS x86_64 14541.0.0) {KHTML} Chrome/127.0.0.0 Safari/537.36",
         "Chrome on ChromeOS"),
        ("(Android 14; Mobile; rv:129.0) Gecko/129.0 Firefox/129.0", "Firefox on Android"),
        ("(X11; Ubuntu; Linux x86_64; rv:129.0) Gecko/20100101 Firefox/129.0",
         "Firefox on Linux"),
    ],
)  # fmt: skip
def test_a_browser_is_called_by_its_name(said, name) -> None:
    assert browser_name(f"Mozilla/5.0 {said}") == name


@pytest.mark.parametrize(
    "said",
    [
        "",
        "curl/8.5.0",
        "python-requests/2.32.0 (Linux; pretending to be Firefox/129.0)",
        "Mozilla/5.0 (compatible; Something/1.0)",
        f"Mozilla/5.0 (BeOS) {KHTML} Chrome/1.0 Safari/1.0",  # a browser, but where?
        f"Mozilla/5.0 (X11; Linux x86_64) {KHTML} Safari/605.1.15",  # Linux, but which browser?
        "<script>alert(1)</script>",
    ],
)
def test_what_cannot_be_told_stays_as_it_was_said(said) -> None:
    assert browser_name(said) == said


def test_the_name_is_in_the_readers_language() -> None:
    with override("de"):
        said = "Mozilla/5.0 (Windows NT 10.0; Win64; x64; rv:124.0) Gecko/20100101 Firefox/124.0"
        assert browser_name(said) == "Firefox auf Windows"


@pytest.mark.django_db
def test_the_list_of_log_ins_shows_it() -> None:
    user = UserFactory(role="client")
    known = f"Mozilla/5.0 (X11; Linux x86_64) {KHTML} Chrome/127.0.0.0 Safari/537.36"
    for said in ("<b>odd</b>", known):
        browser = Client(HTTP_USER_AGENT=said)
        browser.post(reverse("account_login"), {"login": user.email, "password": PASSWORD})
        page = browser.get(reverse("usersessions_list")).content.decode()
    assert "Chrome on Linux" in page
    assert "Mozilla" not in page
    assert "&lt;b&gt;odd&lt;/b&gt;" in page
