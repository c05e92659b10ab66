"""`serve` as its user runs it: everything up by one command, nothing left behind."""

import os
import signal
import socket
import subprocess
import sys
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import psutil
import pytest
from django.conf import settings as django_settings
from django.utils import timezone
from pytest_django import Settings

from consult import services
from consult.management import processes
from consult.models import Letter, Property
from consult.services import jobs
from tests.consult import issued
from tests.faults.rig import assert_gone, assert_one_file_each, descendants, wait_for

pytestmark = pytest.mark.django_db(transaction=True)


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@pytest.fixture
def port() -> int:
    return free_port()


@pytest.fixture(scope="session")
def kept_var(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Static files are gathered at the first start only, as in life."""
    return tmp_path_factory.mktemp("var")


@pytest.fixture
def serve(
    live_services_environment: dict[str, str], kept_var: Path, port: int
) -> Iterator[subprocess.Popen[str]]:
    """The command without a terminal, up to the line that says where it serves."""
    process = subprocess.Popen(
        [sys.executable, "manage.py", "serve", "--port", str(port)],
        cwd=django_settings.BASE_DIR,
        env={**os.environ, "EBBMARK_VAR": str(kept_var)},
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    try:
        assert process.stdout is not None
        assert process.stdout.readline() == f"Ebbmark is served on http://localhost:{port}/\n"
        yield process
    finally:
        process.kill()
        process.wait()
        process.stdout.close()


def listening_addresses(family: list[psutil.Process]) -> set[str]:
    return {
        connection.laddr.ip
        for process in family
        for connection in process.net_connections("inet")
        if connection.status == psutil.CONN_LISTEN
    }


@pytest.mark.long
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGKILL])
def test_serve_makes_letters_answers_and_leaves_no_process(
    serve: subprocess.Popen[str], place: Property, media_folder: Path, port: int, number: int
) -> None:
    with urllib.request.urlopen(f"http://localhost:{port}/accounts/login/") as answer:
        assert answer.status == 200
    letter = issued.issue(place)
    assert services.worker_is_alive(now=timezone.now())
    wait_for(lambda: not Letter.objects.exclude(state="ready").exists())
    assert_one_file_each([letter.number], media_folder)

    family = descendants(serve.pid)
    words = " ".join(" ".join(process.cmdline()) for process in family)
    assert all(name in words for name in ("redis-server", "celery", "manage.py web"))
    assert listening_addresses(family) == {"127.0.0.1"}
    os.kill(serve.pid, number)
    assert_gone([psutil.Process(process.pid) for process in family if process.is_running()])
    code = serve.wait(timeout=15)
    assert code == (-signal.SIGKILL if number == signal.SIGKILL else 0)


def test_serve_ends_when_a_part_of_it_dies(serve: subprocess.Popen[str]) -> None:
    family = descendants(serve.pid)
    redis = next(process for process in family if "redis-server" in process.cmdline()[0])
    redis.kill()
    assert serve.wait(timeout=20) == 1
    assert_gone(family)


def test_a_taken_port_is_named(live_services_environment: dict[str, str], port: int) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", port))
        taken.listen()
        with pytest.raises(processes.ServiceError, match=f"Port {port} is taken"):
            processes.start_web(port=port, threads=1)


def test_a_missing_redis_is_named(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, live_services_environment: dict[str, str]
) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(processes.ServiceError, match="redis-server is missing"):
        processes.start_redis(tmp_path)


def test_a_letter_is_finished_by_services_of_its_own(place: Property, media_folder: Path) -> None:
    """What a command that waits does when no worker lives."""
    before = set(psutil.Process().children(recursive=True))
    letter = issued.issue(place)
    assert not services.worker_is_alive(now=timezone.now())
    processes.finish_letter(letter)
    assert_one_file_each([letter.number], media_folder)
    assert set(psutil.Process().children(recursive=True)) <= before
    assert not services.worker_is_alive(now=timezone.now())


def test_a_letter_is_finished_though_the_worker_that_beat_is_gone(
    place: Property, media_folder: Path, monkeypatch: pytest.MonkeyPatch, settings: Settings
) -> None:
    monkeypatch.setattr(jobs, "ALIVE_S", 1.0)
    settings.JOB_SWEEP_S = 0.2
    jobs.beat(worker="gone@here", now=timezone.now())
    letter = issued.issue(place)
    processes.finish_letter(letter)
    assert_one_file_each([letter.number], media_folder)
