"""A zero byte in a long file: PostgreSQL keeps none, so the preview must not hold it."""

import pytest
from django.utils import timezone

from consult import tasks
from consult.models import Job
from mitigation.tasks import uploads  # the tasks register the jobs
from tests.factories import UserFactory
from tests.surveys.case_folders import READINGS, TABLES, as_files, as_zip, changed

pytestmark = pytest.mark.django_db


def test_a_zero_byte_in_a_cell_is_named_by_the_job_too():
    rows = changed(READINGS, 3, note="be\0fore")
    upload = as_zip(as_files({**TABLES, "readings.csv": rows}))
    pending = uploads.keep_upload(upload=upload, by=UserFactory(), now=timezone.now())
    tasks.run_job(Job.objects.get(kind=uploads.CHECK_UPLOAD).pk)
    pending.refresh_from_db()
    assert pending.state == "refused"
    assert pending.preview["faults"] == [
        "readings.csv row 3, column note: found 'be\\x00fore', allowed: "
        "text without control characters"
    ]
    (row,) = [one for one in pending.preview["tables"][2]["rows"] if one["number"] == 3]
    assert [cell["text"] for cell in row["cells"] if "allowed" in cell] == ["be␀fore"]
