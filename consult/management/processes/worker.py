"""A Celery worker."""

import logging
import signal
import socket
import sys
from collections.abc import Mapping, Sequence
from datetime import datetime
from functools import partial

from django.utils import timezone

from consult.management.processes.children import Service, start_child, wait_until
from consult.models import Heartbeat


def start_worker(
    *,
    name: str,
    concurrency: int = 1,
    environment: Mapping[str, str] | None = None,
    options: Sequence[str] = (),
    wait: bool = True,
) -> Service:
    """A Celery worker; with `wait` it has beaten once when this returns."""
    node = f"{name}@{socket.gethostname()}"
    level = logging.getLevelName(logging.getLogger().getEffectiveLevel())
    command = [sys.executable, "-W", "ignore:You're running the worker"]  # demo machines are root
    command += ["-m", "celery", "-A", "consult", "worker", "-n", node]
    command += ["--concurrency", str(concurrency), "--loglevel", level]
    command += ["--without-gossip", "--without-mingle", "--without-heartbeat", *options]
    since = timezone.now()
    service = start_child(
        "The Celery worker", command, environment=environment, death=signal.SIGKILL, quiet=True
    )
    if wait:
        try:
            wait_until(partial(_has_beaten, node, since), service=service)
        except BaseException:
            service.kill()
            raise
    return service


def _has_beaten(node: str, since: datetime) -> bool:
    return Heartbeat.objects.filter(worker=node, beat_at__gte=since).exists()
