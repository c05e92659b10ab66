"""A worker that dies between the files of an erasure leaves none of them for good."""

from pathlib import Path

import pytest
from django.utils import timezone

from consult.models import Erasure, Job, Letter, Property
from consult.services.privacy import ledger
from consult.services.privacy.erasures import erase_person
from tests.consult import issued
from tests.faults.rig import Rig, assert_gone, descendants, kill_9, wait_for
from tests.faults.test_letters_survive import all_ready, let_the_lease_run_out

pytestmark = pytest.mark.django_db(transaction=True)


def kept(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.rglob("*") if path.is_file())


def test_kill_9_between_two_files(rig: Rig, place: Property, media_folder: Path) -> None:
    worker = rig.start_worker(FAULT_ERASE_GATE="yes")
    for _letter in range(3):
        issued.issue(place)
    wait_for(all_ready)
    assert len(kept(media_folder)) == 3

    erasure = erase_person(person=place.client, by=None, now=timezone.now())
    wait_for(lambda: rig.noted("waiting"))
    assert len(kept(media_folder)) == 2
    assert set(Letter.objects.values_list("state", flat=True)) == {"erased"}
    family = descendants(worker.pid)
    kill_9(worker.pid)
    assert_gone(family)
    erasure.refresh_from_db()
    assert erasure.files_gone_at is None and len(erasure.files_left) == 3

    let_the_lease_run_out()
    rig.open_gate()
    rig.start_worker()
    wait_for(lambda: Erasure.objects.exclude(files_gone_at=None).exists())
    assert kept(media_folder) == []
    assert [told["uid"] for told in ledger.entries()] == [str(erasure.uid)]
    wait_for(lambda: Job.objects.get(kind="erase-files").state == "done")
    assert Job.objects.get(kind="erase-files").attempts == 2
