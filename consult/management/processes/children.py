"""A started process with its group, which ends when its parent does, even by kill -9.

Start them from the main thread (see deathbond).
"""

import os
import shutil
import signal
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from django.conf import settings

from consult.management.processes.deathbond import die_with_parent

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


def start_child(
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


@contextmanager
def private_folder() -> Iterator[Path]:
    """A short folder for the socket, whose path must stay under 107 bytes."""
    base = "/tmp" if os.access("/tmp", os.W_OK) else None  # TMPDIR may be long
    folder = Path(tempfile.mkdtemp(prefix="ebb-", dir=base))
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)
