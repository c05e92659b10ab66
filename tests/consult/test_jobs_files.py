"""Kept files: one per key, whole or not there."""

import errno
import os
from pathlib import Path
from typing import Any

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import InMemoryStorage, default_storage

from consult.services.files import write_file

KEY = "letters/2026-0001-abc.pdf"


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in (folder / "letters").iterdir())


def test_a_second_write_replaces_the_first(media_folder: Path) -> None:
    write_file(key=KEY, data=b"first", attempt=1)
    write_file(key=KEY, data=b"second", attempt=2)
    assert names(media_folder) == ["2026-0001-abc.pdf"]
    assert (media_folder / KEY).read_bytes() == b"second"


def test_what_a_dead_attempt_left_is_cleared_away_and_nothing_else(media_folder: Path) -> None:
    folder = media_folder / "letters"
    folder.mkdir(parents=True)
    (folder / ".2026-0001-abc.pdf.1.part").write_bytes(b"half")
    (folder / ".2026-0002-def.pdf.1.part").write_bytes(b"another letter's")
    write_file(key=KEY, data=b"whole", attempt=2)
    assert names(media_folder) == [".2026-0002-def.pdf.1.part", "2026-0001-abc.pdf"]


@pytest.mark.parametrize("step", ["write", "fsync", "replace"])
def test_a_disk_that_fails_leaves_the_old_file_and_no_half_one(
    media_folder: Path, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    write_file(key=KEY, data=b"old", attempt=1)

    def full(*args: Any, **kwargs: Any) -> Any:
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(os, {"write": "fdopen"}.get(step, step), full)
        with pytest.raises(OSError, match="No space left"):
            write_file(key=KEY, data=b"new", attempt=2)
    assert names(media_folder) == ["2026-0001-abc.pdf"]
    assert (media_folder / KEY).read_bytes() == b"old"


def test_an_attempt_overtaken_while_it_wrote_does_not_replace_the_file(
    media_folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    replace = os.replace

    def overtaken(source: Path, target: Path) -> None:
        monkeypatch.setattr(os, "replace", replace)
        write_file(key=KEY, data=b"later attempt", attempt=2)
        replace(source, target)

    monkeypatch.setattr(os, "replace", overtaken)
    with pytest.raises(FileNotFoundError):
        write_file(key=KEY, data=b"earlier attempt", attempt=1)
    assert names(media_folder) == ["2026-0001-abc.pdf"]
    assert (media_folder / KEY).read_bytes() == b"later attempt"


def test_a_storage_that_is_no_folder_keeps_one_file_too() -> None:
    storage = InMemoryStorage()
    write_file(key=KEY, data=b"first", attempt=1, storage=storage)
    write_file(key=KEY, data=b"second", attempt=2, storage=storage)
    assert storage.listdir("letters")[1] == ["2026-0001-abc.pdf"]
    assert storage.open(KEY).read() == b"second"


def test_a_storage_that_renames_is_refused() -> None:
    class Renaming(InMemoryStorage):
        def exists(self, name: str) -> bool:
            return False

        def get_available_name(self, name: str, max_length: int | None = None) -> str:
            return f"{name}.1"

    storage = Renaming()
    with pytest.raises(OSError, match="another name"):
        write_file(key=KEY, data=b"data", attempt=1, storage=storage)
    assert storage.listdir("letters")[1] == []


def test_files_of_a_test_stay_in_its_folder(media_folder: Path) -> None:
    default_storage.save("a.txt", ContentFile(b"a"))
    assert (media_folder / "a.txt").read_bytes() == b"a"
