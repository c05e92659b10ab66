"""Chromium over a live server; whatever a page breaks (CSP, scripts) is collected.

Playwright keeps an event loop running in this thread, and Django then refuses its database. These
tests are a call of pytest of their own, so that the permission below reaches no other test.
"""

import os
import shutil
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings as django_settings
from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
from django.contrib.sessions.backends.db import SessionStore
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from consult.models import User

AXE = Path(__file__).with_name("axe.min.js").read_text(encoding="utf-8")
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
NOTE_VIOLATIONS = """
document.addEventListener('securitypolicyviolation', e =>
  console.error('CSP ' + e.violatedDirective + ' ' + e.blockedURI + ' ' + e.sourceFile));
"""


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    names = ("chromium", "chromium-browser", "google-chrome")
    path = next((found for found in map(shutil.which, names) if found), None)
    assert path, f"none of {names} is here"
    before = os.environ.get("DJANGO_ALLOW_ASYNC_UNSAFE")
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=path, args=["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"]
        )
        yield browser
        browser.close()
    if before is None:
        del os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"]


@dataclass
class Visitor:
    """Somebody in front of a browser."""

    site: str
    context: BrowserContext
    page: Page
    broken: list[str] = field(default_factory=list)

    def open(self, path: str) -> None:
        self.page.goto(self.site + path)

    def look(self, *, width: int, scheme: Any) -> None:
        self.page.set_viewport_size({"width": width, "height": 900 if width > 600 else 740})
        self.page.emulate_media(color_scheme=scheme)

    def axe(self) -> list[str]:
        """What axe finds on the page, as lines."""
        self.page.evaluate(AXE)  # by the debugger, so that the page's policy stays as it is
        found = self.page.evaluate(
            "rules => axe.run(document, {runOnly: rules, resultTypes: ['violations']})", RULES
        )
        return [
            f"{violation['id']}: {node['html'][:160]} {node['failureSummary'][:200]}"
            for violation in found["violations"]
            for node in violation["nodes"]
        ]

    def wider_than_the_screen(self) -> bool:
        return bool(
            self.page.evaluate("document.documentElement.scrollWidth > window.innerWidth + 1")
        )


class Visitors:
    def __init__(self, browser: Browser, site: str) -> None:
        self.browser, self.site, self.all = browser, site, list[Visitor]()

    def enter(
        self, user: User | None = None, *, width: int = 1280, scheme: Any = "light"
    ) -> Visitor:
        """A fresh browser, logged in as `user` without the log-in page."""
        context = self.browser.new_context(
            viewport={"width": width, "height": 900 if width > 600 else 740}, color_scheme=scheme
        )
        context.set_default_timeout(10_000)
        context.add_init_script(NOTE_VIOLATIONS)
        if user is not None:
            context.add_cookies([_session_cookie(user, self.site)])
        visitor = Visitor(self.site, context, context.new_page())
        note = visitor.broken.append
        visitor.page.on(
            "console",
            lambda line: (
                note(f"{visitor.page.url} {line.text}")
                if line.type == "error" and "Failed to load resource" not in line.text
                else None
            ),
        )
        visitor.page.on("pageerror", lambda error: note(f"{visitor.page.url} {error}"))
        self.all.append(visitor)
        return visitor


def _session_cookie(user: User, site: str) -> Any:
    session = SessionStore()
    session[SESSION_KEY] = str(user.pk)
    session[BACKEND_SESSION_KEY] = django_settings.AUTHENTICATION_BACKENDS[0]
    session[HASH_SESSION_KEY] = user.get_session_auth_hash()
    session.save()
    return {
        "name": django_settings.SESSION_COOKIE_NAME,
        "value": session.session_key,
        "url": site,
    }


@pytest.fixture
def visitors(chromium: Browser, live_server: Any, settings: Any) -> Iterator[Visitors]:
    """Browsers over the live server; a broken policy or script fails the test at its end."""
    settings.MFA_WEBAUTHN_ALLOW_INSECURE_ORIGIN = True  # the live server speaks plain HTTP
    there = Visitors(chromium, live_server.url)
    yield there
    broken = [line for visitor in there.all for line in visitor.broken]
    for visitor in there.all:
        visitor.context.close()
    assert not broken, "\n".join(broken)
