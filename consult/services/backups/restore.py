"""A backup put back: everything is looked at first, then files, then the database in one step."""

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from django.core.exceptions import ValidationError
from django.core.files.storage import default_storage
from django.core.management import call_command
from django.db import DatabaseError, connection
from django.db.migrations.loader import MigrationLoader
from django.utils.translation import gettext as _

from consult.models import Client, Heartbeat, Job, Letter, OutboundMail, User
from consult.services.backups import postgresql, sqlite
from consult.services.backups.archive import FILES, Archive, BackupError, check_archive
from consult.services.backups.database import MEMBER, facts_here
from consult.services.backups.files import is_kept, keep
from consult.services.jobs import unfinished_jobs, worker_is_alive
from consult.services.medical_devices import withdraw_again
from consult.services.privacy import ledger
from consult.services.privacy.erasures import repeat_erasure


@dataclass(frozen=True)
class Restored:
    """What was put back, and what whoever runs it should know."""

    archive: Archive
    files: int
    removed: int
    migrated: int
    erased_again: int
    not_erased: list[str]
    waiting_jobs: int
    unsent_mails: int


def check_backup(*, path: Path) -> Archive:
    """Look at every byte of a backup; nothing is changed."""
    archive = check_archive(path)
    _facts(archive)
    return archive


def restore_backup(*, path: Path, replace: bool, now: datetime) -> Restored:
    """Put a backup in the place of the site's database and files.

    Nothing is touched before the whole archive is known to be right. Then files are added, under
    keys that are free; then the database changes in one step; then what that one no longer names is
    removed. Broken off before the step, the old state is in use; after it, the restored one.
    """
    archive = check_backup(path=path)
    rows, older_by = _facts(archive)
    _refuse_unless_stopped(replace, now)
    before = set(facts_here().files)
    try:
        with _database_ready(archive, rows) as put_in_place:
            occupied = _keep_files(archive)
            put_in_place()
        for member, checked in archive.contents():
            key = member.name.removeprefix(FILES)
            if key in occupied:
                keep(key, checked.chunks())
        removed = sorted(before - set(facts_here().files))
        for key in removed:
            default_storage.delete(key)
    except OSError as error:
        raise BackupError(f"{error.filename or path}: {error.strerror or error}") from error
    again, not_again = _erase_again(now)
    return Restored(
        archive=archive,
        files=len(archive.files),
        removed=len(removed),
        migrated=older_by,
        erased_again=again,
        not_erased=not_again,
        waiting_jobs=unfinished_jobs().count(),
        unsent_mails=OutboundMail.objects.filter(sent_at=None).count(),
    )


def _erase_again(now: datetime) -> tuple[int, list[str]]:
    """Who was erased after the backup is erased again; with why, where that was refused."""
    done, refused = 0, []
    for entry in ledger.entries():
        try:
            done += repeat_erasure(entry=entry, now=now) is not None
        except (ValidationError, DatabaseError) as error:
            refused.append(f"{entry['uid']}: {error}")
    for entry in ledger.withdrawals():
        withdraw_again(entry=entry, now=now)
    return done, refused


def _facts(archive: Archive) -> tuple[dict[str, int], int]:
    """Rows per table, and how many migrations the backup is behind the code; or why it is unfit."""
    try:
        vendor = str(archive.manifest["database"]["vendor"])
        applied = {(str(app), str(name)) for app, name in archive.manifest["migrations"]}
        rows = {str(table): int(count) for table, count in archive.manifest["rows"].items()}
    except (AttributeError, KeyError, TypeError, ValueError) as error:
        raise BackupError(_("The manifest in the archive can not be read.")) from error
    if archive.database.name != MEMBER.get(vendor) or not all(
        postgresql.WORD.fullmatch(table) for table in rows
    ):
        raise BackupError(_("The manifest in the archive can not be read."))
    if vendor != connection.vendor:
        raise BackupError(
            _("The backup is of %(theirs)s and this site runs on %(ours)s.")
            % {"theirs": vendor, "ours": connection.vendor}
        )
    known = set(MigrationLoader(None).disk_migrations or {})
    newer = sorted(applied - known)
    if newer:
        names = ", ".join(f"{app} {name}" for app, name in newer[:3])
        raise BackupError(
            _(
                "The backup was made by a newer version: it has %(names)s, which this one does not "
                "know. Install that version first."
            )
            % {"names": names}
        )
    return rows, len(known - applied)


def _refuse_unless_stopped(replace: bool, now: datetime) -> None:
    """What is at work is not overwritten, and what holds data only when that was asked for."""
    tables = set(connection.introspection.table_names())
    if Heartbeat._meta.db_table in tables and worker_is_alive(now=now):
        raise BackupError(_("A worker of this site is alive. Stop the site first."))
    if connection.vendor == "postgresql":
        others = postgresql.others_connected()
        if others:
            raise BackupError(
                _("The database has %(n)s other connections. Stop the site first.") % {"n": others}
            )
    else:
        connection.close()
        if sqlite.site_path().exists():
            sqlite.take_alone(sqlite.site_path())
    if not replace and any(_holds_rows(model, tables) for model in (User, Client, Letter, Job)):
        raise BackupError(
            _("This site holds data. With --replace they go, and the backup takes their place.")
        )


def _holds_rows(model: Any, tables: set[str]) -> bool:
    if model._meta.db_table not in tables:
        return False
    with connection.cursor() as cursor:
        cursor.execute(f'SELECT 1 FROM "{model._meta.db_table}" LIMIT 1')
        return cursor.fetchone() is not None


def _keep_files(archive: Archive) -> set[str]:
    """Add the files whose keys are free; those whose keys hold something else come later."""
    occupied = set()
    for member, checked in archive.contents():
        if not member.name.startswith(FILES):
            continue
        key = member.name.removeprefix(FILES)
        if not default_storage.exists(key):
            keep(key, checked.chunks())
        elif not is_kept(key, member):
            occupied.add(key)
    return occupied


@contextmanager
def _database_ready(archive: Archive, rows: dict[str, int]) -> Iterator[Any]:
    """The restored database up to its last step, which is what the block gets."""
    if connection.vendor == "postgresql":
        with tempfile.TemporaryFile() as file:  # without a name: a kill leaves nothing of it
            with archive.opened_database() as database:
                file.writelines(database.chunks())
            file.seek(0)

            def in_one_transaction() -> None:
                postgresql.put_back(file, rows)
                _migrate()

            yield in_one_transaction
        return
    with sqlite.beside_the_site() as new:
        with archive.opened_database() as database:
            sqlite.unpack(database, rows, new)
        with sqlite.site_at(new):
            _migrate()
        yield lambda: sqlite.swap(new)


def _migrate() -> None:
    """Up to the code's version; the guards of the history are made anew in any case."""
    call_command("migrate", interactive=False, verbosity=0)
