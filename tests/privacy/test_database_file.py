"""What is erased does not lie on in SQLite's own file; PostgreSQL vacuums by itself, later."""

from pathlib import Path

import pytest
from django.db import connection
from django.utils import timezone

from consult.models import Job
from consult.services.privacy.erasures import erase_person
from consult.tasks import run_job
from tests.privacy.planted import plant

pytestmark = pytest.mark.django_db(transaction=True)


def bytes_of_the_database() -> bytes:
    path = Path(str(connection.settings_dict["NAME"]))
    parts = [path, path.with_name(path.name + "-wal")]
    return b"".join(part.read_bytes() for part in parts if part.exists())


def test_no_page_of_the_file_holds_a_marker() -> None:
    planted = plant()
    words = {where: word.encode() for where, word in planted.markers.items() if "file" not in where}
    before = bytes_of_the_database()
    assert [where for where, word in words.items() if word not in before] == []
    erasure = erase_person(person=planted.client, by=planted.manager, now=timezone.now())
    run_job(Job.objects.get(key=f"erase-files:{erasure.uid}").pk)
    after = bytes_of_the_database()
    assert [where for where, word in words.items() if word in after] == []
