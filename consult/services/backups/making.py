"""A backup of the whole practice: its database at one moment, and the files that it names."""

import os
import time
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from django.conf import settings
from django.db import connection
from django.utils import timezone
from django.utils.translation import gettext as _

from consult.services.backups.archive import BackupError, Writer
from consult.services.backups.database import MEMBER, snapshot
from consult.services.backups.files import add_files

BROKEN_OFF_AFTER_S = 24 * 3600


@dataclass(frozen=True)
class Made:
    """What was made: where, what seals it, how much is in it, and what was not there."""

    path: Path
    digest: str
    rows: int
    files: int
    missing: list[str]


def make_backup(*, to: Path | None, now: datetime) -> Made:
    """Write one archive: into a folder under a name with the time, or to a file that is new.

    The database comes first and the files after it. They are never changed once they are named, so
    what the database of that moment names is there, unless it was erased meanwhile.
    """
    path = _place(to, now)
    try:
        _clear_broken_off(path.parent)
        with snapshot(path.parent) as taken, Writer(path) as archive:
            member = MEMBER[connection.vendor]
            with taken.path.open("rb") as file:
                archive.add(member, file, taken.path.stat().st_size)
            missing = add_files(archive, taken.facts.files)
            archive.finish(
                {
                    "made_at": now.isoformat(timespec="seconds"),
                    "database": {
                        "vendor": connection.vendor,
                        "version": taken.version,
                        "member": member,
                    },
                    "migrations": taken.facts.migrations,
                    "rows": taken.facts.rows,
                    "missing_files": missing,
                }
            )
    except OSError as error:
        raise BackupError(f"{error.filename or path}: {error.strerror or error}") from error
    kept = len(taken.facts.files) - len(missing)
    return Made(path, archive.digest, sum(taken.facts.rows.values()), kept, missing)


def _place(to: Path | None, now: datetime) -> Path:
    """The file to be written; its folder is made, for its owner alone."""
    name = f"ebbmark-{timezone.localtime(now):%Y-%m-%d-%H%M%S}.tar"
    path = settings.VAR_DIR / "backups" / name if to is None else to
    if to is not None and to.is_dir():
        path = to / name
    elif to is not None and not to.suffix:
        raise BackupError(
            _("%(path)s is no folder. Name one that is there, or a file such as backup.tar.")
            % {"path": to}
        )
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    if path.exists():
        raise BackupError(_("%(path)s is there already.") % {"path": path})
    return path


def _clear_broken_off(folder: Path) -> None:
    """What a killed backup left goes after a day, before which it may be one that is at work."""
    for part in [*folder.glob(".*.tar.part"), *folder.glob(".*.database.part")]:
        if part.stat().st_mtime < time.time() - BROKEN_OFF_AFTER_S:
            os.unlink(part)
