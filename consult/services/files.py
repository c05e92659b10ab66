"""Kept files: one per key, whole or not there."""

import glob
import os
from pathlib import Path

from django.core.files.base import ContentFile
from django.core.files.storage import FileSystemStorage, Storage, default_storage


def write_file(*, key: str, data: bytes, attempt: int, storage: Storage | None = None) -> None:
    """Put `data` under `key`, in place of what is there; nobody ever sees half a file.

    `attempt` tells one try from the next. A later try clears away what an earlier one left, and an
    earlier one that wakes up after that finds its own part gone and raises FileNotFoundError.
    """
    storage = storage or default_storage
    if isinstance(storage, FileSystemStorage):
        _replace_on_disk(Path(storage.path(key)), data, attempt, storage)
        return
    if storage.exists(key):  # object stores write whole objects; others would rename on collision
        storage.delete(key)
    stored = storage.save(key, ContentFile(data))
    if stored != key:
        storage.delete(stored)
        raise OSError(f"the storage kept {key} under another name")


def _replace_on_disk(path: Path, data: bytes, attempt: int, storage: Storage) -> None:
    folder_mode = getattr(storage, "directory_permissions_mode", None) or 0o700
    path.parent.mkdir(parents=True, exist_ok=True, mode=folder_mode)
    for leftover in path.parent.glob(f".{path.name}.*.part"):
        leftover.unlink(missing_ok=True)
    part = path.with_name(f".{path.name}.{attempt}.part")
    mode = getattr(storage, "file_permissions_mode", None) or 0o600
    try:
        descriptor = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode)
        with os.fdopen(descriptor, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.replace(part, path)
    except OSError:
        part.unlink(missing_ok=True)
        raise
    folder = os.open(path.parent, os.O_RDONLY)
    try:
        os.fsync(folder)  # the new name too is on the disk before the row says "ready"
    finally:
        os.close(folder)


def drop_file(*, key: str) -> None:
    """Delete the file under `key`, and what killed writers left of it; nothing there is fine."""
    default_storage.delete(key)
    if isinstance(default_storage, FileSystemStorage) and key:
        path = Path(default_storage.path(key))
        for leftover in path.parent.glob(f".{glob.escape(path.name)}.*.part"):
            leftover.unlink(missing_ok=True)
