"""Chromium over a live server; whatever a page breaks (CSP, scripts, width, axe) is collected.

Playwright keeps an event loop running in this thread, and Django then refuses its database. These
tests are a call of pytest of their own, so that the permission below reaches no other test.
"""

import os
import shutil
import time
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from email import message_from_bytes, policy
from pathlib import Path
from typing import Any

import pytest
from django.test import override_settings
from playwright.sync_api import Browser, expect, sync_playwright

from consult.management import processes
from tests.broker import broker_at
from tests.browser.visitor import PHONE_WIDTH, Visitors

LOOKS = {
    "desktop": {"width": 1280, "scheme": "light"},
    "phone": {"width": PHONE_WIDTH, "scheme": "dark"},
}
PATIENCE_S = 30


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    # The one without a window takes a quarter less time.
    names = ("chromium-headless-shell", "chromium", "chromium-browser", "google-chrome")
    path = next((found for found in map(shutil.which, names) if found), None)
    assert path, f"none of {names} is here"
    before = os.environ.get("DJANGO_ALLOW_ASYNC_UNSAFE")
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
    expect.set_options(timeout=PATIENCE_S * 1000 / 2)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=path,
            args=[
                "--no-sandbox",
                "--disable-gpu",
                "--disable-dev-shm-usage",
                "--process-per-site",
                "--disable-site-isolation-trials",
            ],
        )
        yield browser
        browser.close()
    if before is None:
        del os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"]


@pytest.fixture(scope="session", autouse=True)
def _files_have_no_address() -> Iterator[None]:
    """The test server, unlike the real one, would hand out kept files under the root."""
    with override_settings(MEDIA_URL="/kept-files-have-no-address/"):
        yield


@pytest.fixture
def visitors(chromium: Browser, live_server: Any, settings: Any) -> Iterator[Visitors]:
    """Browsers over the live server; a broken policy or script fails the test at its end."""
    settings.MFA_WEBAUTHN_ALLOW_INSECURE_ORIGIN = True  # the live server speaks plain HTTP
    settings.SITE_URL = live_server.url  # links in mails lead there
    there = Visitors(chromium, live_server.url)
    yield there
    broken = [line for visitor in there.all for line in visitor.broken]
    for visitor in there.all:
        visitor.context.close()
    assert not broken, "\n".join(broken)


@pytest.fixture(params=LOOKS)
def look(request: Any) -> dict[str, Any]:
    """A desktop in the light, and a phone in the dark."""
    return LOOKS[request.param]


@dataclass(frozen=True)
class Mailbox:
    """What a worker sent, as files."""

    folder: Path

    def texts_to(self, address: str) -> list[str]:
        found = []
        for file in sorted(self.folder.glob("*")):
            mail = message_from_bytes(file.read_bytes(), policy=policy.default)
            body = mail.get_body()
            if mail["To"] == address and body is not None:
                found.append(str(body.get_content()))
        return found

    def wait_for(self, address: str) -> str:
        """The latest mail to `address`, once there is one."""
        deadline = time.monotonic() + PATIENCE_S
        while not (found := self.texts_to(address)):
            assert time.monotonic() < deadline, f"no mail to {address}"
            time.sleep(0.1)
        return found[-1]

    def link_to(self, address: str) -> str:
        """The address in the latest mail to somebody."""
        return next(word for word in self.wait_for(address).split() if word.startswith("http"))


@pytest.fixture
def worker(
    live_services_environment: dict[str, str], tmp_path: Path, live_server: Any, settings: Any
) -> Iterator[Mailbox]:
    """A real worker over a real Redis on the database of the test; its mails are files."""
    mailbox = Mailbox(tmp_path / "mails")
    mailbox.folder.mkdir()
    with ExitStack() as stack:
        folder = stack.enter_context(processes.private_folder())
        redis = processes.start_redis(folder)
        stack.callback(redis.kill)
        socket = str(processes.redis_socket(folder))
        stack.enter_context(broker_at(socket, settings))
        service = processes.start_worker(
            name=f"browser-{os.getpid()}",
            environment={
                "PRIVATE_REDIS_SOCKET": socket,
                "EMAIL_URL": f"filemail:///{mailbox.folder}",
            },
        )
        stack.callback(service.kill)
        yield mailbox
