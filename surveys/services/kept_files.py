"""Case folders are kept as they came, under the digest of what they hold."""

import hashlib
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime

from django.core.files.storage import default_storage

from consult.intake.contents import ZIP
from consult.models import StoredFile
from consult.services.files import write_file
from consult.services.stored_files import is_kept

_TRIES = 10


def key_of(sha256: str) -> str:
    """Where the folder with this digest is kept."""
    return f"imports/{sha256}.zip"


def describe_folder(*, sha256: str, data: bytes, now: datetime) -> StoredFile:
    """The row of a folder that is to be kept, unsaved."""
    return StoredFile(
        file=key_of(sha256),
        kind=ZIP,
        size=len(data),
        sha256=hashlib.sha256(data).hexdigest(),
        stored_at=now,
    )


def keep_folder(*, stored: StoredFile, data: bytes) -> bool:
    """Keep `data` under its key; False if it was kept before."""
    if is_kept(stored):
        return False
    for _attempt in range(_TRIES):
        try:
            write_file(key=stored.key, data=data, attempt=secrets.randbits(48))
        except FileNotFoundError:
            # Another import of the same bytes cleared our part away to put the same file there.
            if default_storage.exists(stored.key):
                return True
        else:
            return True
    raise OSError(f"{stored.key} could not be kept in {_TRIES} tries")


@contextmanager
def kept_folder(*, stored: StoredFile, data: bytes) -> Iterator[None]:
    """Keep a folder while the block stores its rows; where none came of it, it goes again."""
    is_new = keep_folder(stored=stored, data=data)
    try:
        yield
    except BaseException:
        if is_new:
            drop_orphan(key=stored.key)
        raise
    if StoredFile.objects.filter(file=stored.key).exists():
        # An import of the same bytes that failed may have taken the file away meanwhile.
        keep_folder(stored=stored, data=data)
    elif is_new:
        drop_orphan(key=stored.key)


def drop_orphan(*, key: str) -> None:
    """Remove a kept file that no row speaks of."""
    if not StoredFile.objects.filter(file=key).exists():
        default_storage.delete(key)
