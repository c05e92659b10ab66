"""A Redis and a worker for one call, and waiting for what they make."""

import os
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass

from django.db import connection
from django.utils import timezone

from consult import services
from consult.management.processes.children import POLL_S, Service, private_folder
from consult.management.processes.redis import redis_socket, start_redis
from consult.management.processes.worker import start_worker
from consult.models import Letter


@dataclass
class PrivateServices:
    """A Redis and a worker that belong to this process."""

    environment: dict[str, str]
    services: list[Service]

    def ended(self) -> Service | None:
        """The first of the services that is no longer there."""
        return next((service for service in self.services if not service.is_running()), None)


@contextmanager
def private_services(
    *, concurrency: int = 1, environment: Mapping[str, str] | None = None, own_redis: bool = True
) -> Iterator[PrivateServices]:
    """A worker that lives as long as the block, over a Redis of its own unless told otherwise."""
    with private_folder() as folder:
        started: list[Service] = []
        child_environment = dict(environment or {})
        try:
            if own_redis:
                child_environment["PRIVATE_REDIS_SOCKET"] = str(redis_socket(folder))
                started.append(start_redis(folder))
            started.append(
                start_worker(
                    name=f"ebbmark-{os.getpid()}",
                    concurrency=concurrency,
                    environment=child_environment,
                )
            )
            yield PrivateServices(child_environment, started)
        finally:
            for service in reversed(started):
                service.stop()


def finish_letter(letter: Letter, *, timeout_s: float = 120.0) -> Letter:
    """Wait until a letter is ready or failed; without a living worker, start one for the call."""
    deadline = time.monotonic() + timeout_s
    if not services.worker_is_alive(now=timezone.now()):
        with private_services(environment={"JOB_SWEEP_S": "0.2"}):
            return _wait_for(letter, deadline, while_worker_lives=False)
    letter = _wait_for(letter, deadline, while_worker_lives=True)
    if _is_finished(letter) or time.monotonic() > deadline:
        return letter
    with private_services(environment={"JOB_SWEEP_S": "0.2"}):  # the other worker is gone
        return _wait_for(letter, deadline, while_worker_lives=False)


def _wait_for(letter: Letter, deadline: float, *, while_worker_lives: bool) -> Letter:
    while True:
        letter.refresh_from_db()
        if _is_finished(letter) or time.monotonic() > deadline:
            return letter
        if while_worker_lives and not services.worker_is_alive(now=timezone.now()):
            return letter
        connection.close_if_unusable_or_obsolete()
        time.sleep(POLL_S)


def _is_finished(letter: Letter) -> bool:
    return letter.state in (Letter.State.READY, Letter.State.FAILED)
