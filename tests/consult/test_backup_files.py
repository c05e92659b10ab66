"""Kept files go into a backup and come out of it, on a disk and in a store of objects."""

import hashlib
import io
from pathlib import Path

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from pytest_django import Settings

from consult.services.backups.archive import Member, Writer, check_archive
from consult.services.backups.files import add_files, is_kept, keep
from tests.consult.archives import FACTS

CONTENTS = {"letters/2026-0001.pdf": b"%PDF" * 500_000, "attachments/17/größe": b"", "a": b"x"}


@pytest.fixture(params=["disk", "objects"])
def store(request: pytest.FixtureRequest, settings: Settings) -> str:
    if request.param == "objects":
        memory = {"BACKEND": "django.core.files.storage.InMemoryStorage"}
        settings.STORAGES = settings.STORAGES | {"default": memory}
    return str(request.param)


def member(data: bytes) -> Member:
    return Member("files/a", len(data), hashlib.sha256(data).hexdigest())


def test_files_go_in_and_come_out_byte_by_byte(store: str, tmp_path: Path) -> None:
    for key, data in CONTENTS.items():
        default_storage.save(key, ContentFile(data))
    with Writer(tmp_path / "backup.tar") as archive:
        archive.add("database.sqlite3", io.BytesIO(b"rows"), 4)
        missing = add_files(archive, [*CONTENTS, "letters/gone.pdf"])
        archive.finish(FACTS)
    assert missing == ["letters/gone.pdf"]
    read = check_archive(tmp_path / "backup.tar")
    assert set(read.files) == set(CONTENTS)

    for key in CONTENTS:
        default_storage.delete(key)
    for one, checked in read.contents():
        if one.name.startswith("files/"):
            keep(one.name.removeprefix("files/"), checked.chunks())
    for key, data in CONTENTS.items():
        with default_storage.open(key) as file:
            assert file.read() == data
        assert is_kept(key, read.files[key])


def test_a_file_is_put_in_place_of_another_one(store: str) -> None:
    keep("a", [b"old ", b"bytes"])
    assert not is_kept("a", member(b"new bytes"))
    assert not is_kept("a", member(b"longer than those"))
    keep("a", [b"new ", b"bytes"])
    assert is_kept("a", member(b"new bytes"))
    assert not is_kept("b", member(b"new bytes"))


def test_a_file_that_breaks_off_leaves_the_old_one(store: str) -> None:
    def broken():
        yield b"new "
        raise ZeroDivisionError

    keep("a", [b"old"])
    with pytest.raises(ZeroDivisionError):
        keep("a", broken())
    assert is_kept("a", member(b"old"))
    if store == "disk":
        folder = Path(default_storage.path("a")).parent
        assert [path.name for path in folder.iterdir()] == ["a"]
        assert (folder / "a").stat().st_mode & 0o777 == 0o600


def test_what_an_earlier_try_left_is_cleared_away(media_folder: Path) -> None:
    media_folder.mkdir()
    (media_folder / ".a.12345678.part").write_bytes(b"half")
    keep("a", [b"whole"])
    assert [path.name for path in media_folder.iterdir()] == ["a"]
