"""After an erasure nothing of the person is left, in no column and in no file."""

import pytest
from django.utils import timezone

from consult.models import Erasure, Job
from consult.services.erasures import erase_person
from consult.tasks import run_job
from tests.privacy.everywhere import places_of
from tests.privacy.planted import plant

pytestmark = pytest.mark.django_db


def run_file_job(erasure: Erasure) -> None:
    run_job(Job.objects.get(key=f"erase-files:{erasure.uid}").pk)


def test_no_marker_is_left_anywhere(media_folder) -> None:
    planted = plant()
    assert set(places_of(planted.markers, media_folder)) == set(planted.markers), "all planted"
    erasure = erase_person(person=planted.client, by=planted.manager, now=timezone.now())
    run_file_job(erasure)
    assert places_of(planted.markers, media_folder) == {}
