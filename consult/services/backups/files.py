"""Kept files on their way into a backup and out of it, piece by piece, whatever keeps them."""

import os
import secrets
from collections.abc import Iterable
from typing import IO, cast

from django.core.files.storage import default_storage

from consult.services.backups.archive import FILES, Member, Writer
from consult.services.files import write_chunks
from consult.services.stored_files import digest_of_file


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
    with default_storage.open(key) as file:
        return digest_of_file(cast("IO[bytes]", file)) == member.sha256


def keep(key: str, chunks: Iterable[bytes]) -> None:
    """Put a file under its key, in place of what is there, once all of it has come."""
    write_chunks(key=key, chunks=chunks, attempt=secrets.randbits(32))
