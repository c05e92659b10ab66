"""Files that came in are kept as they came, under the digest of what they hold."""

import secrets

from django.core.files.storage import default_storage

from consult.services.files import write_file
from surveys.models import SourceFile

_TRIES = 10


def key_of(sha256: str) -> str:
    """Where the file with this digest is kept."""
    return f"imports/{sha256}.zip"


def keep_file(*, sha256: str, data: bytes) -> bool:
    """Keep `data` under its digest; False if it was kept before."""
    key = key_of(sha256)
    if default_storage.exists(key) and default_storage.size(key) == len(data):
        return False
    for _attempt in range(_TRIES):
        try:
            write_file(key=key, data=data, attempt=secrets.randbits(48))
        except FileNotFoundError:
            # Another import of the same bytes cleared our part away to put the same file there.
            if default_storage.exists(key):
                return True
        else:
            return True
    raise OSError(f"{key} could not be kept in {_TRIES} tries")


def drop_orphan(*, sha256: str) -> None:
    """Remove a kept file that no row speaks of."""
    if not SourceFile.objects.filter(sha256=sha256).exists():
        default_storage.delete(key_of(sha256))
