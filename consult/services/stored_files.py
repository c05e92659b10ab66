"""Kept files on their way in and out: piece by piece, hashed, and handed out only if unchanged."""

import hashlib
import secrets
from collections.abc import Iterable, Iterator
from datetime import datetime
from typing import IO, cast

from django.core.files.storage import default_storage

from consult.models import StoredFile
from consult.services.files import write_chunks

CHUNK = 1 << 16


class StoredFileError(Exception):
    """A kept file is not there, or not the one that was stored."""


def write_stored(
    *, key: str, chunks: Iterable[bytes], kind: str, now: datetime, attempt: int | None = None
) -> StoredFile:
    """Put a file under its key and return its row, unsaved: it is saved with what it belongs to.

    `attempt` is that of the job that writes; see `write_chunks`.
    """
    measured = _Measured(chunks)
    write_chunks(key=key, chunks=measured, attempt=attempt or secrets.randbits(48))
    return StoredFile(
        file=key,
        kind=kind,
        size=measured.size,
        sha256=measured.digest.hexdigest(),
        stored_at=now,
    )


def open_stored(stored: StoredFile | None) -> IO[bytes]:
    """The file from its start, once all of it was found to be what was stored."""
    if stored is None:
        raise StoredFileError("there is no file")
    try:
        file = cast("IO[bytes]", default_storage.open(stored.key))
    except OSError as error:
        raise StoredFileError(f"{stored.key} is missing") from error
    if digest_of_file(file) != stored.sha256:
        file.close()
        raise StoredFileError(f"{stored.key} is not what was stored")
    return file


def is_kept(stored: StoredFile) -> bool:
    """Whether just this file lies under its key."""
    try:
        open_stored(stored).close()
    except StoredFileError:
        return False
    return True


def digest_of_file(file: IO[bytes]) -> str:
    """The SHA-256 of a file, which is at its start again afterwards."""
    measured = _Measured(pieces_of(file))
    for _piece in measured:
        pass
    file.seek(0)
    return measured.digest.hexdigest()


def pieces_of(file: IO[bytes]) -> Iterator[bytes]:
    """A file piece by piece, from its start."""
    file.seek(0)
    while piece := file.read(CHUNK):
        yield piece


class _Measured:
    """Pieces of a file, with their size and digest once they have gone by."""

    def __init__(self, chunks: Iterable[bytes]) -> None:
        self.digest = hashlib.sha256()
        self.size = 0
        self._chunks = chunks

    def __iter__(self) -> Iterator[bytes]:
        for chunk in self._chunks:
            self.digest.update(chunk)
            self.size += len(chunk)
            yield chunk
