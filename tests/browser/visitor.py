"""Somebody in front of a browser, who looks each page over while the day goes on."""

import os
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from django.conf import settings
from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
from django.contrib.sessions.backends.db import SessionStore
from playwright.sync_api import Browser, BrowserContext, ConsoleMessage, Page, Response

from consult.models import User
from tests.factories import PASSWORD

AXE = Path(__file__).with_name("axe.min.js").read_text(encoding="utf-8")
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
NOTE_VIOLATIONS = """
document.addEventListener('securitypolicyviolation', e =>
  console.error('CSP ' + e.violatedDirective + ' ' + e.blockedURI + ' ' + e.sourceFile));
"""
# Pictures of the pages go here, to be looked at by people; without it none are taken.
PICTURES = os.environ.get("BROWSER_PICTURES", "")
PHONE_WIDTH = 360
# An answer of 4xx, which the test looks at, and a request that a newer one replaced.
EXPECTED = ("Failed to load resource", "htmx:sendAbort", "htmx:afterRequest")
_axe_ran_on: set[tuple[str, int]] = set()


@dataclass
class Visitor:
    """Somebody in front of a browser."""

    site: str
    context: BrowserContext
    page: Page
    width: int
    scheme: str
    has_script: bool = True
    broken: list[str] = field(default_factory=list)

    def open(self, path: str) -> None:
        self.page.goto(self.site + path)

    def log_in(self, email: str, password: str = PASSWORD) -> None:
        """Through the log-in page, as people do."""
        self.open("/accounts/login/")
        self.page.get_by_label("E-mail").fill(email)
        self.page.get_by_label("Password").fill(password)
        self.page.get_by_role("button", name="Log in", exact=True).click()

    def press(self, name: str) -> None:
        self.page.get_by_role("button", name=name, exact=True).click()

    def unfold(self, name: str) -> None:
        """Open what is folded in under this name, where it is."""
        self.page.wait_for_load_state("load")
        summary = self.page.locator("details:not([open]) > summary", has_text=name)
        if summary.count():
            summary.click()

    def follow(self, name: str) -> None:
        """The first link of that name."""
        self.page.get_by_role("link", name=name, exact=True).first.click()

    def look(self, *, width: int, scheme: Any) -> None:
        self.page.set_viewport_size({"width": width, "height": 900 if width > 600 else 740})
        self.page.emulate_media(color_scheme=scheme)

    def look_over(self, name: str) -> None:
        """Note what axe finds in both schemes, the first time in a run, and a page too wide."""
        where = f"{name} at {self.width} px"
        self.page.wait_for_load_state("load")
        if self.has_script:
            self.page.evaluate("document.fonts.ready.then(() => true)")
        if self.wider_than_the_screen():
            self.broken.append(f"{where}: wider than the screen")
        seen = (name, self.width)
        if self.has_script and seen not in _axe_ran_on:
            _axe_ran_on.add(seen)
            for scheme in ("light", "dark"):
                self.look(width=self.width, scheme=scheme)
                self.broken += [f"{where}, {scheme}: {line}" for line in self.axe()]
            self.look(width=self.width, scheme=self.scheme)
        if PICTURES:
            title = f"{name}-{self.width}-{self.scheme}.png".replace(" ", "-")
            self.page.screenshot(path=Path(PICTURES) / title, full_page=True)

    def axe(self) -> list[str]:
        """What axe finds on the page, as lines."""
        if not self.page.evaluate("'axe' in window"):
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

    def mark(self) -> None:
        """Once the scripts are there, leave a sign that a fresh load would wipe away."""
        self.page.wait_for_load_state("load")
        self.page.evaluate("document.body.dataset.seen = 'yes'")

    def is_marked(self) -> bool:
        """Whether the page is still the one that was marked."""
        return bool(self.page.evaluate("document.body.dataset.seen === 'yes'"))

    def forgive(self, words: str) -> int:
        """Take back what the test itself has broken; how much it was."""
        kept = [line for line in self.broken if words not in line]
        forgiven = len(self.broken) - len(kept)
        self.broken[:] = kept
        return forgiven

    def _note_line(self, line: ConsoleMessage) -> None:
        if line.type == "error" and not line.text.startswith(EXPECTED):
            self.broken.append(f"{self.page.url} {line.text}")

    def _note_answer(self, answer: Response) -> None:
        if answer.status >= 500:
            self.broken.append(f"{answer.url} answered {answer.status}")

    def watch(self) -> None:
        """From now on note broken policies, scripts and answers."""
        self.page.on("console", self._note_line)
        self.page.on("pageerror", lambda error: self.broken.append(f"{self.page.url} {error}"))
        self.page.on("response", self._note_answer)


class Visitors:
    def __init__(self, browser: Browser, site: str) -> None:
        self.browser, self.site, self.all = browser, site, list[Visitor]()

    def enter(
        self,
        user: User | None = None,
        *,
        width: int = 1280,
        scheme: Any = "light",
        has_script: bool = True,
    ) -> Visitor:
        """A fresh browser, logged in as `user` without the log-in page."""
        context = self.browser.new_context(
            viewport={"width": width, "height": 900 if width > 600 else 740},
            color_scheme=scheme,
            java_script_enabled=has_script,
        )
        context.set_default_timeout(10_000)
        context.add_init_script(NOTE_VIOLATIONS)
        if user is not None:
            context.add_cookies([_session_cookie(user, self.site)])
        visitor = Visitor(self.site, context, context.new_page(), width, scheme, has_script)
        visitor.watch()
        self.all.append(visitor)
        return visitor


def _session_cookie(user: User, site: str) -> Any:
    session = SessionStore()
    session[SESSION_KEY] = str(user.pk)
    session[BACKEND_SESSION_KEY] = settings.AUTHENTICATION_BACKENDS[0]
    session[HASH_SESSION_KEY] = user.get_session_auth_hash()
    session.save()
    return {"name": settings.SESSION_COOKIE_NAME, "value": session.session_key, "url": site}
