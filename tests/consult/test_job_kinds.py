"""A kind of job says whose data it touches, whether it may begin again, how long it may take."""

import time
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.conf import settings

from consult.models import Job
from consult.services import jobs
from consult.services.privacy.fates import Subject
from consult.services.privacy.persons import tables
from consult.services.privacy.traces import PART

NOW = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
LATER = NOW + timedelta(days=1)
KIND = "test-declared"


@pytest.fixture(autouse=True)
def kinds(monkeypatch) -> None:
    """The registry, as it was before once the test is over."""
    monkeypatch.setattr(jobs, "_kinds", dict(jobs._kinds))


def declare(handler: jobs.Handler = lambda arguments, run: None, **declared: Any) -> None:
    usual = {"about": {"n": None}, "repeatable": True, "limit_s": 30}
    jobs.register(KIND, handler, **(usual | declared))


def write(**arguments: Any) -> Job:
    return jobs.enqueue(kind=KIND, key="test:1", arguments=arguments, run_after=NOW)


def test_what_a_job_names_is_a_row_of_a_classified_table() -> None:
    known = {table.model for table in tables()} | {jobs.ADDRESS, None}
    assert set(jobs.named_rows().values()) <= known
    assert set(jobs._kinds) >= {"render-letter", "visit-sealed", "import-upload", "reset-password"}


@pytest.mark.parametrize("kind", sorted(jobs._kinds))
def test_a_kind_takes_less_than_its_lease(kind: str) -> None:
    assert 0 < jobs._kinds[kind].limit_s <= settings.JOB_SOFT_TIME_LIMIT_S < settings.JOB_LEASE_S


@pytest.mark.django_db
def test_a_job_that_nobody_declared_is_not_written() -> None:
    with pytest.raises(LookupError, match="test-declared"):
        write()
    declare()
    with pytest.raises(ValueError, match="client"):
        write(n=1, client=7)
    assert not Job.objects.exists()
    write(n=1)
    assert Job.objects.count() == 1


def test_a_word_names_the_rows_of_one_model() -> None:
    with pytest.raises(ValueError, match="letter"):
        declare(about={"letter": "consult.Client"})
    with pytest.raises(ValueError, match="some time"):
        declare(limit_s=0)


@pytest.mark.django_db
def test_what_may_not_begin_again_is_given_up_after_its_first_attempt() -> None:
    begun: list[int] = []
    buried: list[str] = []

    def once(arguments: dict[str, Any], run: jobs.Run) -> None:
        begun.append(run.attempt)
        raise RuntimeError("half done")

    told = {"when_dead": lambda arguments, reason: buried.append(reason)}
    declare(once, repeatable=False, **told)
    job = write()
    assert jobs.run(job_id=job.pk)
    job.refresh_from_db()
    assert (job.state, job.attempts) == ("dead", 1)
    assert begun == [1] and buried == ["RuntimeError: half done"]
    assert jobs.revive(job=job, now=NOW) and jobs.run(job_id=job.pk)  # somebody may, knowingly
    assert begun == [1, 1]


@pytest.mark.django_db
def test_what_may_not_begin_again_is_not_taken_from_a_dead_worker() -> None:
    declare(repeatable=False)
    job = write()
    assert jobs.claim(job_id=job.pk, now=NOW)  # and the worker dies
    assert jobs.claim(job_id=job.pk, now=LATER) is None
    jobs.sweep(now=LATER)
    job.refresh_from_db()
    assert (job.state, job.attempts) == ("dead", 1)
    declare(repeatable=True)
    Job.objects.update(state="running", finished_at=None, lease_until=NOW)
    assert jobs.claim(job_id=job.pk, now=LATER)


@pytest.mark.django_db
def test_an_attempt_ends_when_its_time_is_over() -> None:
    def slow(arguments: dict[str, Any], run: jobs.Run) -> None:
        time.sleep(20)

    declare(slow, limit_s=0.05)
    job = write()
    begin = time.monotonic()
    assert jobs.run(job_id=job.pk)
    assert time.monotonic() - begin < 10
    job.refresh_from_db()
    assert job.state == "waiting"
    assert job.last_error == "OutOfTime: the attempt took longer than 0.05 s"
    declare(limit_s=0.05)
    assert jobs.run(job_id=job.pk) is False  # not due yet
    Job.objects.update(run_after=NOW)
    assert jobs.run(job_id=job.pk)
    time.sleep(0.1)  # a limit that is over with its job harms nothing after it
    job.refresh_from_db()
    assert job.state == "done"


@pytest.mark.django_db
def test_an_erasure_finds_jobs_by_what_their_kinds_declare() -> None:
    """By the number of a row in the table that is named, and by an address."""
    (table,) = [table for table in PART.tables if table.model == "consult.Job"]
    declare(about={"n": None, "seen": "surveys.Visit"})
    wanted = jobs.enqueue(kind=KIND, key="1", arguments={"seen": 7, "n": 1}, run_after=NOW)
    jobs.enqueue(kind=KIND, key="2", arguments={"seen": 8}, run_after=NOW)
    jobs.enqueue(kind=KIND, key="3", arguments={"n": 7}, run_after=NOW)
    sealed = jobs.enqueue(kind="visit-sealed", key="4", arguments={"visit": 7}, run_after=NOW)
    reset = jobs.enqueue(
        kind="reset-password", key="5", run_after=NOW,
        arguments={"email": "Ida@Example.org", "site": "http://localhost"},
    )  # fmt: skip
    keys = {"surveys.Visit": {7}, "consult.Client": {8}}
    subject = Subject(clients=frozenset({8}), emails=frozenset({"ida@example.org"}))
    assert callable(table.client)
    assert set(table.client(subject, keys)) == {wanted.pk, sealed.pk, reset.pk}
