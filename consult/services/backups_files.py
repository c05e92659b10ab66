"""Kept files on their way into a backup and out of it, piece by piece, whatever keeps them."""

import hashlib
import os
import secrets
import tempfile
from collections.abc import Iterable
from glob import escape
from pathlib import Path
from typing import IO, cast

from django.core.files import File
from django.core.files.storage import FileSystemStorage, default_storage

from consult.services.backups_archive import CHUNK, FILES, Member, Writer, sync_folder


def add_files(archive: Writer, keys: Iterable[str]) -> list[str]:
    """Put kept files into an archive; the keys of those that are not there."""
    missing = []
    for key in keys:
        try:
            file = default_storage.open(key)
        except FileNotFoundError:
            missing.append(key)
            continue
        with file:
            stream = cast("IO[bytes]", file)
            stream.seek(0, os.SEEK_END)
            size = stream.tell()
            stream.seek(0)
            archive.add(FILES + key, stream, size)
    return missing


def is_kept(key: str, member: Member) -> bool:
    """Whether just this file is kept under `key`."""
    if not default_storage.exists(key) or default_storage.size(key) != member.size:
        return False
    digest = hashlib.sha256()
    with default_storage.open(key) as file:
        while data := file.read(CHUNK):
            digest.update(data)
    return digest.hexdigest() == member.sha256


def keep(key: str, chunks: Iterable[bytes]) -> None:
    """Put a file under its key, in place of what is there, once all of it has come."""
    if isinstance(default_storage, FileSystemStorage):
        _keep_on_disk(Path(default_storage.path(key)), chunks)
        return
    with tempfile.TemporaryFile() as whole:
        whole.writelines(chunks)
        whole.seek(0)
        if default_storage.exists(key):
            default_storage.delete(key)
        stored = default_storage.save(key, File(whole))
    if stored != key:
        default_storage.delete(stored)
        raise OSError(f"the storage kept {key} under another name")


def _keep_on_disk(path: Path, chunks: Iterable[bytes]) -> None:
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    for leftover in path.parent.glob(f".{escape(path.name)}.*.part"):
        leftover.unlink(missing_ok=True)
    part = path.with_name(f".{path.name}.{secrets.token_hex(4)}.part")
    try:
        with os.fdopen(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
            file.writelines(chunks)
            file.flush()
            os.fsync(file.fileno())
        os.replace(part, path)
    except BaseException:
        part.unlink(missing_ok=True)
        raise
    sync_folder(path.parent)
