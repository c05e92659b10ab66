"""The copy for a person holds all of theirs, and nothing that opens a door."""

import io
import json
import zipfile

import pytest
from django.core.exceptions import ValidationError
from django.utils import timezone

from consult.models import DataPackage, Job
from consult.services.privacy import packages
from consult.services.privacy.packages import ask_package, open_package, write_package
from consult.services.privacy.persons import tables
from consult.tasks import run_job
from tests.factories import compared_case
from tests.files import content_of
from tests.privacy.planted import plant

pytestmark = pytest.mark.django_db
NOW = timezone.now()


def copy_of(person) -> dict[str, str]:
    """Name and text of each file in the ZIP."""
    out = io.BytesIO()
    write_package(person=person, out=out)
    with zipfile.ZipFile(out) as packed:
        return {name: packed.read(name).decode("latin-1") for name in packed.namelist()}


def left_out() -> set[str]:
    """The places that the classification keeps out of a copy, with its reason."""
    found = set()
    for table in tables():
        if table.not_copied:
            found |= {f"{table.model}.{name}" for name in table.fields} | {f"{table.model} file"}
        found |= {f"{table.model}.{name}" for name in table.withheld}
    return found | {f"{where} before" for where in found}


def test_every_marker_is_in_it_but_for_what_is_said_to_be_left_out() -> None:
    planted = plant()
    text = "\n".join(copy_of(planted.client).values())
    there = {where for where, word in planted.markers.items() if word in text}
    expected = set(planted.markers) - left_out()
    assert len(expected) > 40
    assert expected - there == set(), "missing"
    assert there & left_out() == set(), "given away"


def test_it_says_who_changed_what_and_when() -> None:
    planted = plant()
    told = json.loads(copy_of(planted.client)["data.json"].encode("latin-1"))
    (client,) = [said for name, said in told.items() if "consult.Client" in name]
    assert {"when", "what", "who", "why", "as it was then"} == set(client["history"][0])
    assert {one["what"] for one in client["history"]} == {"entered", "changed", "removed"}
    assert planted.manager.name in {one["who"] for one in client["history"]}


def test_a_file_that_is_gone_is_named_and_the_rest_is_there(media_folder) -> None:
    planted = plant()
    (media_folder / "imports" / "planted.zip").unlink()
    files = copy_of(planted.client)
    told = json.loads(files["data.json"].encode("latin-1"))
    (missing,) = told["files that were not there"]
    assert missing.startswith("files/") and any(name.startswith("letters/") for name in files)


def test_another_clients_data_are_not_in_it() -> None:
    other = compared_case()
    other.property.client.name = "Bystander Quell"
    other.property.client.save()
    planted = plant()
    assert "Bystander" not in "\n".join(copy_of(planted.client).values())
    assert "Bystander" in "\n".join(copy_of(other.property.client).values())


def test_it_is_made_once_by_a_job_and_dropped_after_its_days(media_folder) -> None:
    client = compared_case().property.client
    package = ask_package(person=client, by=None, now=NOW)
    assert ask_package(person=client, by=None, now=NOW).pk == package.pk, "one at a time"
    with pytest.raises(ValidationError):
        content_of(open_package(package=package, now=NOW))
    run_job(Job.objects.get(key=f"make-package:{package.pk}").pk)
    package.refresh_from_db()
    assert package.state == "ready"
    assert zipfile.is_zipfile(io.BytesIO(content_of(open_package(package=package, now=NOW))))
    with pytest.raises(ValidationError):
        content_of(open_package(package=package, now=package.expires_at))
    DataPackage.objects.update(expires_at=timezone.now())
    packages.drop_packages({}, None)
    assert not DataPackage.objects.exists()
    assert [path for path in media_folder.rglob("*.zip") if path.is_file()] == []


def test_one_that_was_dropped_while_it_was_made_leaves_no_file(media_folder, monkeypatch) -> None:
    client = compared_case().property.client
    package = ask_package(person=client, by=None, now=NOW)
    real = packages.write_chunks

    def dropped_meanwhile(**told):
        DataPackage.objects.all().delete()
        real(**told)

    monkeypatch.setattr(packages, "write_chunks", dropped_meanwhile)
    run_job(Job.objects.get(key=f"make-package:{package.pk}").pk)
    assert [path for path in media_folder.rglob("*.zip") if path.is_file()] == []
