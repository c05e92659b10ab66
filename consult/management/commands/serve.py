"""Everything that one machine needs, by one command."""

import hashlib
import os
import signal
import time
from argparse import ArgumentParser
from pathlib import Path
from types import FrameType
from typing import Any

from django.conf import settings
from django.contrib.staticfiles.finders import get_finders
from django.core.management import BaseCommand, CommandError, call_command
from django.db import connections

from consult.management.processes import ServiceError, private_services, start_web


def collect_static_files() -> None:
    """Gather and compress the static files, if any has changed since the last time."""
    seen = sorted(
        (path, storage.get_modified_time(path).isoformat(), storage.size(path))
        for finder in get_finders()
        for path, storage in finder.list([])
    )
    fingerprint = hashlib.sha256(repr(seen).encode()).hexdigest()
    stamp = Path(settings.STATIC_ROOT) / ".collected"
    if stamp.exists() and stamp.read_text() == fingerprint:
        return
    call_command("collectstatic", interactive=False, verbosity=0)
    stamp.write_text(fingerprint)


class Command(BaseCommand):
    help = (
        "Serve Ebbmark on http://localhost:8000 with a worker and, unless REDIS_URL is set, a "
        "private Redis. Ctrl-C or TERM ends all of them."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument("--concurrency", type=int, default=1, help="letters made at a time")
        parser.add_argument("--threads", type=int, default=8, help="pages served at a time")

    def handle(self, *args: Any, **options: Any) -> None:
        self.stopped = False
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            signal.signal(number, self._stop)
        call_command("migrate", interactive=False, verbosity=0)
        collect_static_files()
        connections.close_all()
        if self.stopped:
            return
        try:
            self._serve(options)
        except ServiceError as error:
            if not self.stopped:  # a service that was told to end has nothing to explain
                raise CommandError(str(error)) from error

    def _serve(self, options: dict[str, Any]) -> None:
        own = f"http://localhost:{options['port']}"
        site = {"SITE_URL": os.environ.get("SITE_URL") or own}
        with private_services(
            concurrency=options["concurrency"], environment=site, own_redis=not settings.REDIS_URL
        ) as private:
            web = start_web(
                port=options["port"],
                threads=options["threads"],
                environment=private.environment,
            )
            private.services.append(web)
            self.stdout.write(f"Ebbmark is served on http://localhost:{options['port']}/")
            self.stdout.flush()
            connections.close_all()
            while not self.stopped:
                ended = private.ended()
                if ended is not None:
                    raise ServiceError(f"{ended.name} ended, so all were stopped.")
                time.sleep(0.2)

    def _stop(self, number: int, frame: FrameType | None) -> None:
        """Only a flag: what has to be done is done outside the handler."""
        self.stopped = True
