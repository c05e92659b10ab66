"""A real Redis and real workers on the database of the test, to be harmed."""

import os
import signal
import time
from collections.abc import Callable
from pathlib import Path

import psutil
import redis

from consult import services
from consult.management import processes
from consult.models import Letter
from tests.files import content_of

PATIENCE_S = 80.0
# Long enough for a first letter on a busy machine, whose worker has everything to load.
LIMITS = {"JOB_SOFT_TIME_LIMIT_S": "14", "JOB_HARD_TIME_LIMIT_S": "15", "JOB_LEASE_S": "16"}


def wait_for(what: Callable[[], object], *, patience_s: float = PATIENCE_S) -> None:
    deadline = time.monotonic() + patience_s
    while not what():
        assert time.monotonic() < deadline, "waited in vain"
        time.sleep(0.05)


class Rig:
    """One Redis, any number of workers, and the folder where test and workers meet."""

    def __init__(self, socket_folder: Path, meeting: Path) -> None:
        self.socket_folder = socket_folder
        self.meeting = meeting
        self.meeting.mkdir()
        self.redis = processes.start_redis(socket_folder)
        self.workers: list[processes.Service] = []

    def start_worker(self, *, concurrency: int = 1, **environment: str) -> processes.Service:
        known = {
            "PRIVATE_REDIS_SOCKET": str(processes.redis_socket(self.socket_folder)),
            "FAULT_FOLDER": str(self.meeting),
            "JOB_BACKOFF_S": "0.1",
        }
        worker = processes.start_worker(
            name=f"test-{os.getpid()}-{len(self.workers)}",
            concurrency=concurrency,
            environment=known | LIMITS | environment,
            options=["--include", "tests.faults.inside_worker"],
        )
        self.workers.append(worker)
        return worker

    def restart_redis(self) -> None:
        self.redis.kill()
        self.redis = processes.start_redis(self.socket_folder)

    def broker(self) -> redis.Redis:
        return redis.Redis(unix_socket_path=str(processes.redis_socket(self.socket_folder)))

    def hints_in_queue(self) -> int:
        with self.broker() as broker:
            return int(broker.llen("celery"))

    def open_gate(self) -> None:
        (self.meeting / "go").touch()

    def noted(self, name: str) -> list[str]:
        file = self.meeting / name
        return file.read_text().split() if file.exists() else []

    def stop(self) -> None:
        for worker in self.workers:
            worker.kill()
        self.redis.kill()


def assert_one_file_each(numbers: list[str], media_folder: Path) -> None:
    """Every letter is ready with the file that its row describes, and there is no other file."""
    rows = list(Letter.objects.order_by("number"))
    assert [row.number for row in rows] == numbers
    for row in rows:
        assert row.state == "ready", row.failure
        assert letters_bytes_are_whole(row)
    kept = sorted(path.name for path in (media_folder / "letters").iterdir())
    assert kept == sorted(Path(row.file_key()).name for row in rows)


def letters_bytes_are_whole(row: Letter) -> bool:
    data = content_of(services.open_letter(row))  # raises unless the SHA-256 is the row's
    return data.startswith(b"%PDF-") and data.rstrip().endswith(b"%%EOF")


def descendants(pid: int) -> list[psutil.Process]:
    return psutil.Process(pid).children(recursive=True)


def assert_gone(family: list[psutil.Process], *, patience_s: float = 15.0) -> None:
    _gone, alive = psutil.wait_procs(family, timeout=patience_s)
    assert [" ".join(process.cmdline()) for process in alive] == []


def kill_9(pid: int) -> None:
    os.kill(pid, signal.SIGKILL)
