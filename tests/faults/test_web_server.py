"""The web server of one machine under callers who are slow or send too much."""

import http.client
import io
import os
import random
import socket
import uuid
import zipfile
from collections.abc import Iterator
from contextlib import ExitStack, closing, contextmanager
from pathlib import Path

import pytest
from django.test import Client
from django.test.client import MULTIPART_CONTENT, encode_multipart
from django.urls import reverse
from pytest_django import Settings

from consult.management import processes
from mitigation.models import PendingUpload
from tests.factories import UserFactory
from tests.faults.test_serve import free_port
from tests.surveys.case_folders import as_zip
from tests.surveys.test_intake_hostile import grown

pytestmark = pytest.mark.django_db(transaction=True)
PATIENCE_S = 30
BOUNDARY = "a-boundary-of-this-test"
HEAD = b"POST /accounts/login/ HTTP/1.1\r\nHost: localhost\r\n"


@pytest.fixture
def port(live_services_environment: dict[str, str]) -> int:
    return free_port()


@pytest.fixture
def web(port: int) -> Iterator[processes.Service]:
    service = processes.start_web(port=port, threads=4)
    try:
        yield service
    finally:
        service.stop()


def dial(port: int) -> socket.socket:
    return socket.create_connection(("127.0.0.1", port), timeout=PATIENCE_S)


@contextmanager
def slow_callers(port: int) -> Iterator[list[socket.socket]]:
    """Fifty heads without an end and fifty bodies without one, held open."""
    with ExitStack() as stack:
        callers = [stack.enter_context(dial(port)) for _ in range(100)]
        for caller in callers[:50]:
            caller.sendall(HEAD + b"X-Slow: ")
        for caller in callers[50:]:
            caller.sendall(HEAD + b"Content-Length: 40\r\n\r\nlogin=")
        yield callers


def get(port: int, path: str) -> int:
    asked = http.client.HTTPConnection("localhost", port, timeout=PATIENCE_S)
    asked.request("GET", path)
    return answer_of(asked)


def answer_of(asked: http.client.HTTPConnection) -> int:
    with closing(asked), asked.getresponse() as answer:
        answer.read()
        return answer.status


def still_open(caller: socket.socket) -> bool:
    caller.setblocking(False)
    try:
        return caller.recv(1) != b""
    except BlockingIOError:
        return True


def test_slow_callers_keep_nobody_waiting(web: processes.Service, port: int) -> None:
    with slow_callers(port) as callers:
        assert [get(port, "/accounts/login/") for _ in range(5)] == [200] * 5
        assert all(map(still_open, callers))  # all of it happened beside them


def test_the_server_ends_in_order_beside_slow_callers(web: processes.Service, port: int) -> None:
    with slow_callers(port):
        assert get(port, "/accounts/login/") == 200
        web.process.terminate()
        assert web.process.wait(PATIENCE_S) == 0


@pytest.mark.parametrize("cookie", [b"", b"Cookie: sessionid=forged\r\n"])
def test_a_body_that_is_too_large_is_refused_by_its_head(
    web: processes.Service, port: int, cookie: bytes
) -> None:
    with dial(port) as caller:
        caller.sendall(HEAD + cookie + b"Content-Length: 200000000\r\n\r\n")
        assert caller.recv(100).startswith(b"HTTP/1.1 413 ")


def test_a_body_without_a_length_is_counted_as_it_comes(web: processes.Service, port: int) -> None:
    chunk = b"1000\r\n" + b"x" * 0x1000 + b"\r\n"
    sent = 0
    with dial(port) as caller:
        caller.sendall(HEAD + b"Transfer-Encoding: chunked\r\n\r\n")
        try:
            while sent < 50_000_000:
                caller.sendall(chunk)
                sent += len(chunk)
        except ConnectionError:
            pass  # hung up on, in the middle of it
    assert 64_000 <= sent < 20_000_000


def memory_mb(pid: int, name: str) -> float:
    lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith(f"{name}:")) / 1024


def noise(size: int) -> bytes:
    return random.Random(5).randbytes(size)


def hostile_uploads() -> dict[str, list[tuple[str, bytes]]]:
    tree = grown("xl/workbook.xml", b"<sheets>", b"<a/>" * 8_000_000)
    wide = io.BytesIO()
    with zipfile.ZipFile(wide, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("readings.csv", b"0" * 100_000_000)
    return {
        "elements": [("case.xlsx", tree)],
        "zeros": [("case.zip", wide.getvalue())],
        "noise": [("case.zip", b"PK" + noise(19_900_000))],
        "files": [("case.toml", noise(100_000)), ("readings.csv", noise(19_000_000)),
                  ("visits.csv", noise(800_000))],
    }  # fmt: skip


def test_no_upload_grows_the_web_process(
    web: processes.Service, port: int, settings: Settings
) -> None:
    settings.SECRET_KEY = os.environ["SECRET_KEY"]  # the web server's
    browser = Client()
    browser.force_login(UserFactory())
    send_upload(browser, port, [("case.zip", as_zip().data)])  # what a first request loads
    for name, files in hostile_uploads().items():
        Path(f"/proc/{web.pid}/clear_refs").write_text("5")  # the peak begins anew
        before = memory_mb(web.pid, "VmRSS")
        assert send_upload(browser, port, files) == 302, name
        assert memory_mb(web.pid, "VmHWM") - before < 50, name
    assert PendingUpload.objects.filter(state="checking").count() == 5


def send_upload(browser: Client, port: int, files: list[tuple[str, bytes]]) -> int:
    """Post files as a browser would, with the log-in of `browser`."""
    token = "a" * 32
    cookies = {name: morsel.value for name, morsel in browser.cookies.items()} | {
        "csrftoken": token
    }
    given = [upload_file(name, data) for name, data in files]
    body = encode_multipart(
        BOUNDARY, {"csrfmiddlewaretoken": token, "key": str(uuid.uuid4()), "folder": given}
    )
    asked = http.client.HTTPConnection("localhost", port, timeout=PATIENCE_S * 2)
    asked.request("POST", reverse("upload"), body, {
        "Content-Type": MULTIPART_CONTENT.partition(";")[0] + f"; boundary={BOUNDARY}",
        "Cookie": "; ".join(f"{name}={value}" for name, value in cookies.items()),
    })  # fmt: skip
    return answer_of(asked)


def upload_file(name: str, data: bytes) -> io.BytesIO:
    file = io.BytesIO(data)
    file.name = name
    return file
