"""An import through a worker that dies, and through two clicks at once: one case, or none."""

import threading
from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.utils import timezone

from consult.models import Client, Job, User
from consult.services import jobs
from consult.tasks import run_job
from mitigation.models import Case, PendingUpload
from mitigation.tasks import uploads  # the tasks register the jobs
from surveys.models import Reading, SourceFile
from tests.factories import UserFactory
from tests.faults.rig import Rig, assert_gone, descendants, kill_9, wait_for
from tests.surveys.case_folders import as_zip

pytestmark = pytest.mark.django_db(transaction=True)
WAIT_S = 30


def _uploaded(by: User) -> PendingUpload:
    """A case folder that was handed over, checked and not confirmed yet."""
    pending = uploads.keep_upload(upload=as_zip(), by=by, now=timezone.now())
    assert run_job(Job.objects.get(kind=uploads.CHECK_UPLOAD).pk)
    return pending


@pytest.mark.parametrize("point", ["stored", "told"])
def test_kill_9_of_the_worker_in_the_middle_of_an_import(rig: Rig, point: str, media_folder):
    """Before the commit nothing is there, after it the case; either way there is one in the end."""
    pending = _uploaded(UserFactory())  # checked here, before a worker could come to it
    worker = rig.start_worker(FAULT_IMPORT_GATE=point)
    uploads.confirm_upload(pending=pending, now=timezone.now())
    wait_for(lambda: rig.noted("waiting"))
    pending.refresh_from_db()
    assert (pending.state, pending.step) == ("importing", "storing")
    family = descendants(worker.pid)
    kill_9(worker.pid)
    assert_gone(family)
    assert Case.objects.count() == Reading.objects.count() / 8 == (1 if point == "told" else 0)

    past = timezone.now() - timedelta(seconds=1)
    Job.objects.filter(state="running").update(lease_until=past)
    rig.open_gate()
    rig.start_worker()
    wait_for(lambda: PendingUpload.objects.get().state == "done")
    assert PendingUpload.objects.get().case == Case.objects.get()
    counts = [model.objects.count() for model in (Client, SourceFile, Reading)]
    assert counts == [1, 1, 8]
    wait_for(lambda: not jobs.unfinished_jobs().filter(kind=uploads.IMPORT_UPLOAD).exists())
    assert Job.objects.get(kind=uploads.IMPORT_UPLOAD).attempts == 2
    assert [path.name for path in media_folder.rglob("*.*")] == [
        SourceFile.objects.get().stored.key.split("/")[1]
    ]


@pytest.mark.parametrize("time", range(3))
def test_two_clicks_at_once_make_one_job(live_services_environment, time):
    pending = _uploaded(UserFactory())
    start = threading.Barrier(4)
    found: list[bool] = []

    def click() -> None:
        try:
            start.wait(WAIT_S)
            found.append(uploads.confirm_upload(pending=pending, now=timezone.now()))
        finally:
            connection.close()

    threads = [threading.Thread(target=click) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(WAIT_S)
    assert sorted(found) == [False, False, False, True]
    assert Job.objects.filter(kind=uploads.IMPORT_UPLOAD).count() == 1


@pytest.mark.parametrize("time", range(3))
def test_confirm_and_cancel_at_once_end_in_one_of_both(live_services_environment, time):
    pending = _uploaded(UserFactory())
    start = threading.Barrier(2)
    done: list[str] = []

    def confirm() -> None:
        uploads.confirm_upload(pending=pending, now=timezone.now())

    def cancel() -> None:
        uploads.cancel_upload(pending=pending)

    def run(work) -> None:
        try:
            start.wait(WAIT_S)
            work()
            done.append(work.__name__)
        except ValidationError:
            pass
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=[work]) for work in (confirm, cancel)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(WAIT_S)
    confirmed = PendingUpload.objects.filter(state="importing").exists()
    assert done == ["confirm" if confirmed else "cancel"]
    assert Job.objects.filter(kind=uploads.IMPORT_UPLOAD).exists() == confirmed
