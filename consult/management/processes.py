"""The processes of one machine: a private Redis, a Celery worker, a web server.

Each is a group of its own that ends when its parent does, even by kill -9. Start them from the main
thread (see deathbond). To stop, web first, then worker, then Redis.
"""

import logging
import os
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from pathlib import Path

from django.conf import settings
from django.db import connection
from django.utils import timezone

from consult import services
from consult.management.deathbond import die_with_parent
from consult.models import Heartbeat, Letter

START_S = 60.0
STOP_S = 10.0
POLL_S = 0.05


class ServiceError(Exception):
    """A service did not start; the text says why, in words for whoever runs it."""


@dataclass
class Service:
    """One started process with its group."""

    name: str
    process: subprocess.Popen[bytes]

    @property
    def pid(self) -> int:
        return self.process.pid

    def is_running(self) -> bool:
        return self.process.poll() is None

    def stop(self, grace_s: float = STOP_S) -> None:
        """Ask, wait, then kill what is left of the group."""
        if self.is_running():
            self.process.terminate()
            try:
                self.process.wait(grace_s)
            except subprocess.TimeoutExpired:
                pass
        self.kill()

    def kill(self) -> None:
        """kill -9 the whole group."""
        try:
            os.killpg(self.pid, signal.SIGKILL)
        except ProcessLookupError:
            pass
        self.process.wait()


def _start(
    name: str,
    command: Sequence[str],
    *,
    environment: Mapping[str, str] | None = None,
    death: signal.Signals = signal.SIGTERM,
    folder: Path | None = None,
    quiet: bool = False,
) -> Service:
    process = subprocess.Popen(
        command,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL if quiet else None,
        env={**os.environ, **(environment or {})},
        cwd=folder or settings.BASE_DIR,
        start_new_session=True,
        preexec_fn=partial(die_with_parent, os.getpid(), death),
    )
    return Service(name, process)


def wait_until(ready: Callable[[], bool], *, service: Service, timeout_s: float = START_S) -> None:
    """Wait for a service; raise ServiceError when it ends or takes too long."""
    deadline = time.monotonic() + timeout_s
    while not ready():
        if not service.is_running():
            raise ServiceError(f"{service.name} ended with code {service.process.returncode}.")
        if time.monotonic() > deadline:
            raise ServiceError(f"{service.name} was not ready after {timeout_s:.0f} s.")
        time.sleep(POLL_S)


# -- Redis ------------------------------------------------------------------------------------


@contextmanager
def private_folder() -> Iterator[Path]:
    """A short folder for the socket, whose path must stay under 107 bytes."""
    base = "/tmp" if os.access("/tmp", os.W_OK) else None  # TMPDIR may be long
    folder = Path(tempfile.mkdtemp(prefix="ebb-", dir=base))
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def redis_socket(folder: Path) -> Path:
    return folder / "redis.sock"


def start_redis(folder: Path) -> Service:
    """A Redis without a port and without a memory of its own: the jobs are rows."""
    program = shutil.which("redis-server")
    if program is None:
        raise ServiceError(
            "redis-server is missing. Install it (on Debian: apt-get install redis-server) "
            "or set REDIS_URL to a running one."
        )
    path = redis_socket(folder)
    path.unlink(missing_ok=True)
    command = [program, "--port", "0", "--unixsocket", str(path), "--unixsocketperm", "700",
               "--save", "", "--appendonly", "no", "--loglevel", "warning", "--logfile", "",
               "--dir", str(folder)]  # fmt: skip
    service = _start("Redis", command, folder=folder, quiet=True)
    wait_until(lambda: _answers(path), service=service)
    return service


def _answers(path: Path) -> bool:
    with socket.socket(socket.AF_UNIX) as connection_:
        connection_.settimeout(1)
        try:
            connection_.connect(str(path))
            connection_.sendall(b"PING\r\n")
            return connection_.recv(16).startswith(b"+PONG")
        except OSError:
            return False


# -- Worker and web ---------------------------------------------------------------------------


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
    service = _start(
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


def start_web(*, port: int, threads: int, environment: Mapping[str, str] | None = None) -> Service:
    """The web server, on the loopback address only."""
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("127.0.0.1", port))
        except OSError as error:
            raise ServiceError(f"Port {port} is taken; give another with --port.") from error
    command = [sys.executable, "-m", "gunicorn", "consult.wsgi", "--bind", f"127.0.0.1:{port}",
               "-k", "gthread", "--workers", "1", "--threads", str(threads),
               "--no-control-socket", "--log-level", "warning"]  # fmt: skip
    if os.access("/dev/shm", os.W_OK):
        command += ["--worker-tmp-dir", "/dev/shm"]
    service = _start("The web server", command, environment=environment)
    try:
        wait_until(lambda: _listens(port), service=service)
    except BaseException:
        service.stop()
        raise
    return service


def _listens(port: int) -> bool:
    with socket.socket() as probe:
        probe.settimeout(1)
        return probe.connect_ex(("127.0.0.1", port)) == 0


# -- Together ---------------------------------------------------------------------------------


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
