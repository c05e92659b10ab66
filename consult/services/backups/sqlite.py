"""SQLite: a restored database is made ready beside the old one, and takes its place in one step."""

import os
import shutil
import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager
from pathlib import Path

from django.db import connection
from django.utils.translation import gettext as _

from consult.services.backups.archive import BackupError, Checked
from consult.services.backups.database import facts_of_sqlite
from consult.services.files import sync_folder

PATIENCE_S = 2


def site_path() -> Path:
    return Path(connection.settings_dict["NAME"])


@contextmanager
def beside_the_site() -> Iterator[Path]:
    """Where a database is made ready; what a broken-off restore left there goes."""
    site = site_path()
    site.parent.mkdir(parents=True, exist_ok=True)
    new = site.with_name(f".{site.name}.restoring")
    _drop(new)
    try:
        yield new
    finally:
        _drop(new)


def unpack(checked: Checked, rows: Mapping[str, int], new: Path) -> None:
    """The database of the archive, held against the manifest once more."""
    with os.fdopen(os.open(new, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
        file.writelines(checked.chunks())
    with closing(sqlite3.connect(new)) as database:
        try:
            (verdict,) = database.execute("PRAGMA integrity_check").fetchone()
            counted = facts_of_sqlite(database).rows if verdict == "ok" else {}
        except sqlite3.DatabaseError as error:
            verdict, counted = str(error), {}
    if verdict != "ok" or counted != rows:
        raise BackupError(
            _("The database in the archive is not sound, or not the one that the manifest counts.")
        )


@contextmanager
def site_at(path: Path) -> Iterator[None]:
    """Within the block, this process works on the database at `path`."""
    named = connection.settings_dict["NAME"]
    connection.close()
    connection.settings_dict["NAME"] = str(path)
    try:
        yield
    finally:
        connection.close()
        connection.settings_dict["NAME"] = named


def swap(new: Path) -> None:
    """Put a database in the place of the site's own, which nobody may have open."""
    site = site_path()
    connection.close()
    take_alone(new)
    with open(new, "rb") as file:
        os.fsync(file.fileno())
    if site.exists():
        take_alone(site)
        shutil.copymode(site, new)
    os.replace(new, site)
    sync_folder(site.parent)


def take_alone(path: Path) -> None:
    """Fold the write-ahead log into its database, which SQLite does for the only user alone."""
    try:
        with closing(sqlite3.connect(path, timeout=PATIENCE_S)) as database:
            (mode,) = database.execute("PRAGMA journal_mode=DELETE").fetchone()
    except sqlite3.OperationalError as error:
        if "locked" not in str(error):
            raise
        mode = "locked"
    if mode != "delete":
        raise BackupError(_("Another process has the database open. Stop the site first."))


def _drop(database: Path) -> None:
    for path in (database, *(Path(f"{database}-{kind}") for kind in ("wal", "shm", "journal"))):
        path.unlink(missing_ok=True)
