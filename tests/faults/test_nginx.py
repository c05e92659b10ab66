"""The configuration for nginx that is handed out: tried with a real nginx before a small site."""

import http.client
import os
import re
import shutil
import socket
import ssl
import subprocess
import threading
import time
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

from tests.faults.test_serve import free_port

CONFIGURATION = Path(__file__).parents[2] / "fixtures" / "nginx" / "ebbmark.conf"
NAME = "ebbmark.example"
PATIENCE_S = 30
MAIN = """
daemon off;
{user}
pid {folder}/nginx.pid;
error_log {folder}/error.log;
events {{ worker_connections 256; }}
http {{
    access_log off;
    client_body_temp_path {folder}/bodies;
    proxy_temp_path {folder}/answers;
    include {folder}/site.conf;
}}
"""


@dataclass
class Site:
    """What stands behind nginx: it keeps the heads that reach it and answers with OK."""

    port: int
    heads: list[dict[str, str]] = field(default_factory=list)


@dataclass
class Proxy:
    plain_port: int
    secure_port: int
    site: Site
    trust: ssl.SSLContext

    def ask(
        self, method: str, path: str, body: bytes = b"", headers: dict[str, str] | None = None
    ) -> int:
        """The status of a request over TLS to the name of the site."""
        asked = http.client.HTTPSConnection(
            "127.0.0.1", self.secure_port, timeout=PATIENCE_S, context=self.trust
        )
        with closing(asked):
            try:
                asked.request(method, path, body, {"Host": NAME} | (headers or {}))
            except (BrokenPipeError, ConnectionResetError):
                pass  # a body that is refused by its head is not read to its end
            with asked.getresponse() as answer:
                answer.read()
                return answer.status


@pytest.fixture
def site() -> Iterator[Site]:
    kept = Site(free_port())

    class Answers(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            self.rfile.read(int(self.headers.get("Content-Length", 0)))
            kept.heads.append({name.lower(): value for name, value in self.headers.items()})
            self.send_response(200)
            self.send_header("Content-Length", "0")
            self.end_headers()

        do_POST = do_GET

        def log_message(self, format: str, *args: Any) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", kept.port), Answers)
    server.daemon_threads = True
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    try:
        yield kept
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


@pytest.fixture
def proxy(site: Site, tmp_path: Path) -> Iterator[Proxy]:
    program = shutil.which("nginx", path=f"{os.environ['PATH']}:/usr/sbin")
    assert program, "nginx is missing; .ci/system --tests installs it"
    certify(tmp_path)
    plain, secure = free_port(), free_port()
    (tmp_path / "site.conf").write_text(configured(tmp_path, site.port, plain, secure))
    user = "user root;" if os.geteuid() == 0 else ""
    (tmp_path / "nginx.conf").write_text(MAIN.format(folder=tmp_path, user=user))
    command = [program, "-p", str(tmp_path), "-c", str(tmp_path / "nginx.conf")]
    tried = subprocess.run([*command, "-t"], capture_output=True, text=True, check=False)
    assert tried.returncode == 0, tried.stderr
    process = subprocess.Popen(command, stderr=subprocess.DEVNULL)
    try:
        wait_until_open(process, secure)
        yield Proxy(plain, secure, site, trusting())
    finally:
        process.terminate()
        process.wait(PATIENCE_S)


def configured(folder: Path, site_port: int, plain_port: int, secure_port: int) -> str:
    """The configuration as it is handed out, with ports and files of this test."""
    text = CONFIGURATION.read_text()
    text = re.sub(r"(?m)^ *listen \[::\].*\n", "", text)
    for was, now in (
        ("127.0.0.1:8000", f"127.0.0.1:{site_port}"),
        ("listen 80;", f"listen 127.0.0.1:{plain_port};"),
        ("listen 443 ", f"listen 127.0.0.1:{secure_port} "),
        ("/etc/ssl/ebbmark/", f"{folder}/"),
    ):
        assert was in text
        text = text.replace(was, now)
    return text


def certify(folder: Path) -> None:
    """A certificate of the site's name that signs itself."""
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, NAME)])
    now = datetime.now(UTC)
    certificate = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=1))
        .sign(key, hashes.SHA256())
    )
    (folder / "fullchain.pem").write_bytes(certificate.public_bytes(serialization.Encoding.PEM))
    (folder / "privkey.pem").write_bytes(
        key.private_bytes(
            serialization.Encoding.PEM,
            serialization.PrivateFormat.PKCS8,
            serialization.NoEncryption(),
        )
    )


def trusting() -> ssl.SSLContext:
    """TLS to a certificate that nobody else has signed."""
    context = ssl.create_default_context()
    context.check_hostname = False
    context.verify_mode = ssl.CERT_NONE
    return context


def wait_until_open(process: subprocess.Popen[bytes], port: int) -> None:
    deadline = time.monotonic() + PATIENCE_S
    while time.monotonic() < deadline and process.poll() is None:
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return
        time.sleep(0.05)
    raise AssertionError("nginx did not start")


def test_a_page_comes_over_tls_and_the_plain_port_leads_to_it(proxy: Proxy) -> None:
    assert proxy.ask("GET", "/desk/") == 200
    plain = http.client.HTTPConnection("127.0.0.1", proxy.plain_port, timeout=PATIENCE_S)
    with closing(plain):
        plain.request("GET", "/desk/?a=b", headers={"Host": NAME})
        answer = plain.getresponse()
        assert (answer.status, answer.headers["Location"]) == (301, f"https://{NAME}/desk/?a=b")


def test_what_a_caller_says_of_the_way_is_not_passed_on(proxy: Proxy) -> None:
    forged = {
        "X-Forwarded-For": "203.0.113.9",
        "X-Forwarded-Proto": "http",
        "X-Forwarded-Host": "other.example",
        "X-Forwarded-Port": "1",
        "X-Real-IP": "203.0.113.9",
        "Forwarded": "for=203.0.113.9",
    }
    assert proxy.ask("GET", "/", headers=forged) == 200
    (head,) = proxy.site.heads
    assert (head["host"], head["x-forwarded-for"]) == (NAME, "127.0.0.1")
    assert head["x-forwarded-proto"] == "https"
    assert {"x-forwarded-host", "x-forwarded-port", "x-real-ip", "forwarded"}.isdisjoint(head)


@pytest.mark.parametrize(
    ("path", "size", "status"),
    [
        ("/accounts/login/", 60_000, 200),
        ("/accounts/login/", 70_000, 413),
        ("/visits/1/", 3_000_000, 200),
        ("/visits/1/", 4_000_000, 413),
        ("/check/file/", 5_000_000, 200),
        ("/check/file/", 5_300_000, 413),
        ("/check/", 4_000_000, 413),
        ("/uploads/", 20_000_000, 200),
        ("/uploads/", 22_000_000, 413),
        ("/cases/EB-2026-0001/files/", 20_000_000, 200),
        ("/cases/EB-2026-0001/notes/", 4_000_000, 413),
    ],
)
def test_each_page_takes_as_much_as_it_needs(
    proxy: Proxy, path: str, size: int, status: int
) -> None:
    assert proxy.ask("POST", path, bytes(size)) == status
    assert len(proxy.site.heads) == (status == 200)


def test_slow_callers_keep_nobody_waiting_and_never_reach_the_site(proxy: Proxy) -> None:
    callers = []
    try:
        for number in range(50):
            caller = socket.create_connection(("127.0.0.1", proxy.secure_port), PATIENCE_S)
            callers.append(proxy.trust.wrap_socket(caller, server_hostname=NAME))
            head = f"POST /visits/1/ HTTP/1.1\r\nHost: {NAME}\r\n".encode()
            end = b"X-Slow: " if number % 2 else b"Content-Length: 40\r\n\r\nhalf"
            callers[-1].sendall(head + end)
        assert [proxy.ask("GET", "/desk/") for _ in range(5)] == [200] * 5
        assert len(proxy.site.heads) == 5
    finally:
        for caller in callers:
            caller.close()
