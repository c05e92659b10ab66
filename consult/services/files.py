"""Kept files: one per key, whole or not there."""

import glob
import os
import tempfile
from collections.abc import Iterable
from pathlib import Path

from django.core.files import File
from django.core.files.storage import FileSystemStorage, Storage, default_storage


def write_file(*, key: str, data: bytes, attempt: int, storage: Storage | None = None) -> None:
    """Put `data` under `key`, in place of what is there; nobody ever sees half a file.

    `attempt` tells one try from the next. A later try clears away what an earlier one left, and an
    earlier one that wakes up after that finds its own part gone and raises FileNotFoundError.
    """
    write_chunks(key=key, chunks=[data], attempt=attempt, storage=storage)


def write_chunks(
    *, key: str, chunks: Iterable[bytes], attempt: int, storage: Storage | None = None
) -> None:
    """The same for a file that comes piece by piece, once all of it has come."""
    storage = storage or default_storage
    if isinstance(storage, FileSystemStorage):
        _replace_on_disk(Path(storage.path(key)), chunks, attempt, storage)
        return
    with tempfile.TemporaryFile() as whole:
        whole.writelines(chunks)
        whole.seek(0)
        if storage.exists(key):  # object stores write whole objects; others would rename
            storage.delete(key)
        stored = storage.save(key, File(whole))
    if stored != key:
        storage.delete(stored)
        raise OSError(f"the storage kept {key} under another name")


def _replace_on_disk(path: Path, chunks: Iterable[bytes], attempt: int, storage: Storage) -> None:
    folder_mode = getattr(storage, "directory_permissions_mode", None) or 0o700
    path.parent.mkdir(parents=True, exist_ok=True, mode=folder_mode)
    _clear_parts(path)
    part = path.with_name(f".{path.name}.{attempt}.part")
    mode = getattr(storage, "file_permissions_mode", None) or 0o600
    try:
        descriptor = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode)
        with os.fdopen(descriptor, "wb") as file:
            file.writelines(chunks)
            file.flush()
            os.fsync(file.fileno())
        os.replace(part, path)
    except BaseException:
        part.unlink(missing_ok=True)
        raise
    sync_folder(path.parent)  # the new name too is on the disk before the row says "ready"


def sync_folder(folder: Path) -> None:
    """A new name is on the disk before anybody is told of it."""
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _clear_parts(path: Path) -> None:
    for leftover in path.parent.glob(f".{glob.escape(path.name)}.*.part"):
        leftover.unlink(missing_ok=True)


def drop_file(*, key: str) -> None:
    """Delete the file under `key`, and what killed writers left of it; nothing there is fine."""
    default_storage.delete(key)
    if isinstance(default_storage, FileSystemStorage) and key:
        _clear_parts(Path(default_storage.path(key)))
