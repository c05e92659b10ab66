"""Whatever dies or forgets, each letter ends with exactly one file and nothing is lost."""

from datetime import timedelta
from pathlib import Path

import pytest
from django.utils import timezone

from consult import services
from consult.models import Heartbeat, Job, Letter, Property
from consult.services import jobs
from tests.consult import issued
from tests.faults.rig import (
    Rig,
    assert_gone,
    assert_one_file_each,
    descendants,
    kill_9,
    wait_for,
)

pytestmark = pytest.mark.django_db(transaction=True)


def all_ready() -> bool:
    return not Letter.objects.exclude(state__in=["ready", "failed"]).exists()


def let_the_lease_run_out() -> None:
    Job.objects.filter(state="running").update(lease_until=timezone.now() - timedelta(seconds=1))


def test_kill_9_of_the_worker_while_letters_are_made(
    rig: Rig, place: Property, media_folder: Path
) -> None:
    points = ["drawn", "file", "row"]  # each of three letters is caught at another point
    worker = rig.start_worker(concurrency=3, FAULT_GATES=" ".join(points))
    numbers = [issued.issue(place).number for _ in points]
    wait_for(lambda: len(rig.noted("waiting")) == 3)
    assert set(Letter.objects.values_list("state", flat=True)) == {"rendering"}
    assert len(list(media_folder.rglob("*.part"))) == 1
    assert len(list(media_folder.rglob("*.pdf"))) == 1
    family = descendants(worker.pid)
    assert set(map(int, rig.noted("waiting"))) == {process.pid for process in family}
    kill_9(worker.pid)  # the worker alone; its children have to follow by themselves
    assert_gone(family)
    assert set(Letter.objects.values_list("state", flat=True)) == {"rendering"}
    assert len(list(media_folder.rglob("*.part"))) == 1

    let_the_lease_run_out()
    rig.open_gate()
    rig.start_worker()
    wait_for(all_ready)
    assert_one_file_each(numbers, media_folder)
    wait_for(lambda: not jobs.unfinished_jobs().exists())
    assert set(Job.objects.values_list("state", "attempts")) == {("done", 2)}


def test_kill_9_of_the_child_that_makes_a_letter(
    rig: Rig, place: Property, media_folder: Path
) -> None:
    worker = rig.start_worker(FAULT_GATES="file")
    letter = issued.issue(place)
    wait_for(lambda: rig.noted("waiting"))
    kill_9(int(rig.noted("waiting")[0]))
    rig.open_gate()
    let_the_lease_run_out()
    wait_for(all_ready)
    assert worker.is_running()
    assert rig.noted("drawn") == [letter.number] * 2
    assert_one_file_each([letter.number], media_folder)


def test_a_redis_that_lost_its_memory_with_letters_queued(
    rig: Rig, place: Property, media_folder: Path
) -> None:
    rig.start_worker(FAULT_GATES="drawn")
    numbers = [issued.issue(place).number for _ in range(5)]
    wait_for(lambda: rig.noted("waiting"))
    assert rig.hints_in_queue() >= 3  # one is at work, one may have been fetched
    with rig.broker() as broker:
        broker.flushall()
    rig.redis.kill()
    numbers.append(issued.issue(place).number)  # with no Redis at all
    rig.restart_redis()  # empty; from here on the worker's sweep sends the hints anew
    rig.open_gate()
    wait_for(all_ready)
    assert_one_file_each(numbers, media_folder)


def test_a_task_delivered_many_times(rig: Rig, place: Property, media_folder: Path) -> None:
    rig.start_worker(concurrency=2, FAULT_GATES="drawn")
    letter = issued.issue(place)
    job = Job.objects.get()
    wait_for(lambda: rig.noted("waiting"))
    assert jobs.send_hints([job.pk] * 10) == 10
    wait_for(lambda: rig.hints_in_queue() == 0)  # the other child has had most of them
    rig.open_gate()
    wait_for(all_ready)
    assert jobs.send_hints([job.pk] * 10) == 10
    wait_for(lambda: rig.hints_in_queue() == 0)
    assert_one_file_each([letter.number], media_folder)
    assert rig.noted("drawn") == [letter.number]
    job.refresh_from_db()
    assert job.attempts == 1


def test_two_workers_and_two_sweeps_on_one_set_of_jobs(
    rig: Rig, place: Property, media_folder: Path
) -> None:
    for n in range(60):
        jobs.enqueue(kind="test-count", key=f"count:{n}", arguments={"n": n})
    numbers = [issued.issue(place).number for _ in range(4)]
    with rig.broker() as broker:
        broker.flushall()  # only the sweeps tell of the jobs
    for _ in range(2):
        rig.start_worker(JOB_SWEEP_S="0.05")
    wait_for(lambda: not jobs.unfinished_jobs().exists())
    assert sorted(map(int, rig.noted("counted"))) == list(range(60))
    assert sorted(rig.noted("drawn")) == numbers
    assert_one_file_each(numbers, media_folder)
    assert set(Job.objects.values_list("attempts", flat=True)) == {1}
    assert Heartbeat.objects.count() == 2


@pytest.mark.long
def test_poison_jobs_are_given_up_and_the_rest_goes_on(
    rig: Rig, live_services_environment: dict[str, str]
) -> None:
    limits = {"JOB_SOFT_TIME_LIMIT_S": "0.5", "JOB_HARD_TIME_LIMIT_S": "1", "JOB_LEASE_S": "1.5"}
    worker = rig.start_worker(concurrency=2, JOB_MEMORY_MB="200", **limits)
    poisons = ["kill", "hang", "eat", "fail"]
    for poison in poisons:
        jobs.enqueue(kind=f"test-{poison}", key=poison, arguments={})
    for n in range(10):
        jobs.enqueue(kind="test-count", key=f"count:{n}", arguments={"n": n})
    wait_for(lambda: not jobs.unfinished_jobs().exists(), patience_s=90)
    assert worker.is_running()
    assert sorted(map(int, rig.noted("counted"))) == list(range(10))
    for poison in poisons:
        assert rig.noted(f"{poison}-attempts") == ["1", "2", "3", "4", "5"]
    dead = dict(Job.objects.filter(state="dead").values_list("key", "last_error"))
    assert sorted(dead) == sorted(poisons)
    assert "died or ran out of time" in dead["kill"]
    assert "ran out of time" in dead["hang"]
    assert "MemoryError" in dead["eat"]
    assert dead["fail"] == "ValueError: always"
    assert jobs.worker_is_alive(now=timezone.now())
    assert Heartbeat.objects.get().last_job_at is not None


def test_a_disk_that_is_full_while_a_letter_is_written(
    rig: Rig, place: Property, media_folder: Path
) -> None:
    (rig.meeting / "full").touch()
    rig.start_worker()
    letter = issued.issue(place)
    wait_for(all_ready)
    letter.refresh_from_db()
    assert letter.state == "failed"
    assert "OSError" in letter.failure
    assert rig.noted("drawn") == [letter.number] * 5
    assert list((media_folder / "letters").iterdir()) == []

    (rig.meeting / "full").unlink()
    assert services.retry_letter(letter=letter, by=None, now=timezone.now())
    wait_for(all_ready)
    assert_one_file_each([letter.number], media_folder)
