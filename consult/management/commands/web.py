"""The web server of one machine, as `serve` starts it.

waitress reads all connections in one thread and hands over whole requests, so that a caller who is
slow keeps nobody else waiting. How much a page takes is decided by a request's head, before any of
its body is read; whether the log-in that it names still holds is for the middleware to say.
"""

import copy
import signal
import sys
from argparse import ArgumentParser
from types import FrameType
from typing import Any

from django.conf import settings
from django.core.management import BaseCommand
from waitress import create_server
from waitress.channel import HTTPChannel
from waitress.parser import HTTPRequestParser

from consult.access import most_body_bytes
from consult.wsgi import application

MOST_HEAD_BYTES = 32_768
# A connection that says nothing for this long is closed.
IDLE_S = 30
MOST_CONNECTIONS = 1_000


class BoundedParser(HTTPRequestParser):  # type: ignore[misc]  # untyped library
    """Refuses with 413 a body that is larger than its page takes."""

    adj: Any

    def parse_header(self, header_plus: bytes) -> None:
        super().parse_header(header_plus)
        path = self.path.encode("latin-1").decode(errors="replace")
        names_log_in = f"{settings.SESSION_COOKIE_NAME}=" in self.headers.get("COOKIE", "")
        limits = copy.copy(self.adj)
        # waitress refuses what is as large as its limit
        limits.max_request_body_size = most_body_bytes(path, is_logged_in=names_log_in) + 1
        self.adj = limits


class BoundedChannel(HTTPChannel):  # type: ignore[misc]  # untyped library
    parser_class = BoundedParser


class Command(BaseCommand):
    help = "The web server alone, on the loopback address. TERM ends it."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument("--threads", type=int, default=8, help="pages served at a time")

    def handle(self, *args: Any, **options: Any) -> None:
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, _stop)
        server = create_server(
            application,
            host="127.0.0.1",
            port=options["port"],
            threads=options["threads"],
            ident=None,
            asyncore_use_poll=True,  # select() knows no file descriptor above 1,023
            connection_limit=MOST_CONNECTIONS,
            channel_timeout=IDLE_S,
            cleanup_interval=5,
            max_request_header_size=MOST_HEAD_BYTES,
            # A proxy of one's own is trusted as it is by the settings; a caller's word is not.
            clear_untrusted_proxy_headers=not settings.BEHIND_PROXY,
        )
        server.channel_class = BoundedChannel
        server.run()  # SystemExit ends it, after the requests that are being answered


def _stop(number: int, frame: FrameType | None) -> None:
    sys.exit(0)
