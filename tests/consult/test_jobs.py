"""Jobs as rows: one attempt at a time, counted when it is claimed, finished once."""

import socket
import threading
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import redis
from django.db import connection, transaction
from django.utils import timezone
from pytest_django import DjangoCaptureOnCommitCallbacks, Settings

from consult.management import processes
from consult.models import Heartbeat, Job
from consult.services import jobs
from tests.broker import broker_at

pytestmark = pytest.mark.django_db

NOW = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
LATER = NOW + timedelta(days=1)


class Recorder:
    """A kind of job whose handler and farewell are written down."""

    def __init__(self) -> None:
        self.done: list[tuple[dict[str, Any], int]] = []
        self.dead: list[tuple[dict[str, Any], str]] = []
        self.error: BaseException | None = None

    def handle(self, arguments: dict[str, Any], run: jobs.Run) -> None:
        self.done.append((arguments, run.attempt))
        if self.error is not None:
            raise self.error

    def bury(self, arguments: dict[str, Any], reason: str) -> None:
        self.dead.append((arguments, reason))


def _register(handler: jobs.Handler, **declared: Any) -> None:
    usual = {"about": {"n": None}, "repeatable": True, "limit_s": 30}
    jobs.register("test-record", handler, **(usual | declared))


@pytest.fixture(autouse=True)
def recorder() -> Iterator[Recorder]:
    recorder = Recorder()
    _register(recorder.handle, when_dead=recorder.bury)
    yield recorder
    jobs._kinds.pop("test-record")


@pytest.fixture
def job(recorder: Recorder) -> Job:
    return jobs.enqueue(kind="test-record", key="test:1", arguments={"n": 1}, run_after=NOW)


def test_the_same_key_gives_the_same_job(job: Job) -> None:
    again = jobs.enqueue(kind="test-record", key="test:1", arguments={"n": 2})
    assert again.pk == job.pk
    assert Job.objects.get().arguments == {"n": 1}


def test_a_job_of_a_change_that_failed_does_not_exist() -> None:
    with transaction.atomic():
        jobs.enqueue(kind="test-record", key="test:1", arguments={})
        transaction.set_rollback(True)
    assert not Job.objects.exists()


def test_a_job_is_claimed_once_for_one_lease(job: Job, settings: Settings) -> None:
    first = jobs.claim(job_id=job.pk, now=NOW)
    assert first is not None
    assert first[1].attempt == 1
    lease = timedelta(seconds=settings.JOB_LEASE_S)
    assert jobs.claim(job_id=job.pk, now=NOW + lease) is None
    second = jobs.claim(job_id=job.pk, now=NOW + lease + timedelta(seconds=1))
    assert second is not None
    assert second[1].attempt == 2


def test_a_job_is_not_claimed_before_its_time(job: Job) -> None:
    assert jobs.claim(job_id=job.pk, now=NOW - timedelta(seconds=1)) is None


def test_a_late_attempt_changes_nothing(job: Job) -> None:
    first = jobs.claim(job_id=job.pk, now=NOW)
    second = jobs.claim(job_id=job.pk, now=LATER)
    assert first is not None and second is not None
    assert not jobs.finish(attempt=first[1], now=LATER)
    assert not jobs.fail(attempt=first[1], error="late", now=LATER)
    first[1].progress(77)
    assert not first[1].is_current()
    job.refresh_from_db()
    assert (job.state, job.progress_percent, job.last_error) == ("running", 0, "")
    assert jobs.finish(attempt=second[1], now=LATER)
    assert not jobs.finish(attempt=second[1], now=LATER)
    job.refresh_from_db()
    assert (job.state, job.progress_percent, job.finished_at) == ("done", 100, LATER)


def test_a_done_job_is_never_claimed_again(job: Job, recorder: Recorder) -> None:
    assert jobs.run(job_id=job.pk)
    assert not jobs.run(job_id=job.pk)
    assert recorder.done == [({"n": 1}, 1)]


def test_a_failure_waits_twice_as_long_each_time(job: Job, settings: Settings) -> None:
    settings.JOB_BACKOFF_S = 5
    now, pauses = NOW, []
    for _attempt in range(4):
        claimed = jobs.claim(job_id=job.pk, now=now)
        assert claimed is not None
        assert jobs.fail(attempt=claimed[1], error="no", now=now)
        job.refresh_from_db()
        pauses.append((job.run_after - now).total_seconds())
        now = job.run_after
    assert pauses == [5, 10, 20, 40]
    assert (job.state, job.last_error) == ("waiting", "no")


@pytest.mark.parametrize("error", [ValueError("bad"), type("Fatal", (BaseException,), {})("bad")])
def test_a_job_that_always_fails_is_given_up_after_five_attempts(
    job: Job, recorder: Recorder, settings: Settings, error: BaseException
) -> None:
    settings.JOB_BACKOFF_S = 0
    recorder.error = error
    for _attempt in range(7):
        try:
            jobs.run(job_id=job.pk)
        except type(error):
            assert not isinstance(error, Exception)
    job.refresh_from_db()
    assert [attempt for _arguments, attempt in recorder.done] == [1, 2, 3, 4, 5]
    assert job.state == "dead"
    assert job.last_error == f"{type(error).__name__}: bad"
    assert recorder.dead == [({"n": 1}, job.last_error)]


def test_a_job_whose_workers_all_died_is_given_up_by_the_sweep(
    job: Job, recorder: Recorder
) -> None:
    for day in range(5):
        assert jobs.claim(job_id=job.pk, now=NOW + timedelta(days=day)) is not None
        if day < 4:
            jobs.sweep(now=NOW + timedelta(days=day, hours=1))
    jobs.sweep(now=NOW + timedelta(days=4))  # the last lease still runs
    job.refresh_from_db()
    assert job.state == "running"
    after = NOW + timedelta(days=5)
    assert jobs.claim(job_id=job.pk, now=after) is None
    jobs.sweep(now=after)
    jobs.sweep(now=after)
    job.refresh_from_db()
    assert job.state == "dead"
    assert [reason for _arguments, reason in recorder.dead] == [job.last_error]


def test_a_dead_job_can_be_tried_again(job: Job, recorder: Recorder) -> None:
    assert not jobs.revive(job=job, now=NOW)
    Job.objects.update(state="dead", attempts=5, finished_at=NOW, last_error="no")
    assert jobs.revive(job=job, now=NOW)
    assert jobs.run(job_id=job.pk)
    job.refresh_from_db()
    assert (job.state, job.attempts, job.last_error) == ("done", 1, "")


def test_a_kind_without_a_handler_says_so() -> None:
    """Written by another version of the house."""
    job = Job.objects.create(kind="test-unknown", key="test:2", run_after=NOW)
    jobs.run(job_id=job.pk)
    job.refresh_from_db()
    assert (job.state, job.attempts) == ("waiting", 1)
    assert job.last_error == "LookupError: no handler for jobs of kind 'test-unknown'"


def test_a_job_in_a_broken_farewell_is_not_buried(job: Job, recorder: Recorder) -> None:
    """The farewell joins the transaction: both happen or none."""

    def broken(arguments: dict[str, Any], reason: str) -> None:
        raise RuntimeError("no pen")

    _register(recorder.handle, when_dead=broken)
    Job.objects.update(state="running", attempts=5, lease_until=NOW)
    with pytest.raises(RuntimeError, match="no pen"), transaction.atomic():
        jobs.sweep(now=LATER)
    job.refresh_from_db()
    assert job.state == "running"


# -- Heartbeats -------------------------------------------------------------------------------


def test_a_worker_lives_for_as_long_as_it_beats() -> None:
    assert not jobs.worker_is_alive(now=NOW)
    jobs.beat(worker="one@here", now=NOW)
    assert jobs.worker_is_alive(now=NOW + timedelta(seconds=jobs.ALIVE_S - 1))
    assert not jobs.worker_is_alive(now=NOW + timedelta(seconds=jobs.ALIVE_S))
    jobs.beat(worker="one@here", now=LATER)
    assert Heartbeat.objects.get().beat_at == LATER
    jobs.stop_beating(worker="one@here")
    assert not jobs.worker_is_alive(now=LATER)


def test_a_finished_job_shows_on_its_worker_and_a_failed_one_does_not(
    job: Job, recorder: Recorder, settings: Settings
) -> None:
    settings.JOB_BACKOFF_S = 0
    jobs.beat(worker="one@here", now=NOW)
    recorder.error = ValueError("bad")
    jobs.run(job_id=job.pk, worker="one@here")
    assert Heartbeat.objects.get().last_job_at is None
    recorder.error = None
    jobs.run(job_id=job.pk, worker="one@here")
    assert Heartbeat.objects.get().last_job_at is not None


def test_silent_workers_are_forgotten_after_a_day() -> None:
    jobs.beat(worker="old@here", now=NOW)
    jobs.beat(worker="new@here", now=NOW + jobs.FORGET_WORKER_AFTER + timedelta(seconds=1))
    assert [row.worker for row in Heartbeat.objects.all()] == ["new@here"]


# -- A broker that is down --------------------------------------------------------------------


@pytest.fixture
def deaf_broker(tmp_path: Path) -> Iterator[str]:
    """A socket that lets everybody in and never answers."""
    path = f"/tmp/ebb-deaf-{tmp_path.name[-20:]}.sock"
    with socket.socket(socket.AF_UNIX) as listener:
        listener.bind(path)
        listener.listen(50)
        yield path
    Path(path).unlink()


@pytest.mark.parametrize("kind_of_broken", ["absent", "deaf"])
def test_a_broken_broker_costs_the_caller_neither_the_job_nor_the_time(
    kind_of_broken: str,
    deaf_broker: str,
    settings: Settings,
    django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks,
) -> None:
    path = "/nowhere/redis.sock" if kind_of_broken == "absent" else deaf_broker
    begin = time.monotonic()
    with broker_at(path, settings):
        for number in range(5):
            with django_capture_on_commit_callbacks(execute=True) as callbacks:
                jobs.enqueue(kind="test-record", key=f"test:{number}", arguments={})
            assert len(callbacks) == 1
    assert time.monotonic() - begin < 3.5
    assert Job.objects.count() == 5


def test_a_job_for_later_sends_no_hint(
    django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks,
) -> None:
    with django_capture_on_commit_callbacks() as callbacks:
        later = timezone.now() + timedelta(hours=1)
        jobs.enqueue(kind="test-record", key="test:1", arguments={}, run_after=later)
    assert callbacks == []


# -- Many at once -----------------------------------------------------------------------------


@pytest.mark.django_db(transaction=True)
def test_of_many_claims_at_once_one_wins() -> None:
    job = jobs.enqueue(kind="test-record", key="test:1", arguments={}, run_after=NOW)
    wins: list[int] = []
    gate = threading.Barrier(8)

    def claim() -> None:
        try:
            gate.wait()
            claimed = jobs.claim(job_id=job.pk, now=NOW)
            if claimed is not None:
                wins.append(claimed[1].attempt)
        finally:
            connection.close()

    threads = [threading.Thread(target=claim) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert wins == [1]
    job.refresh_from_db()
    assert job.attempts == 1


def test_a_queue_that_still_has_hints_gets_no_more_of_them(job: Job, settings: Settings) -> None:
    with processes.private_folder() as folder:
        service = processes.start_redis(folder)
        socket_path = str(processes.redis_socket(folder))
        try:
            with broker_at(socket_path, settings):
                assert [jobs.sweep(now=LATER) for _sweep in range(3)] == [1, 0, 0]
                with redis.Redis(unix_socket_path=socket_path) as broker:
                    broker.flushall()  # the hint is lost
                assert jobs.sweep(now=LATER) == 1
        finally:
            service.kill()
