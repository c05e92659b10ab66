"""A database at one moment: as one file, with what has to be known of it. SQLite and PostgreSQL."""

import os
import secrets
import sqlite3
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.apps import apps
from django.db import connection, models, transaction

from consult.services.backups.postgresql import dump

Ask = Callable[[str], tuple[Sequence[Any], Sequence[Sequence[Any]]]]  # names of columns, rows
MEMBER = {"sqlite": "database.sqlite3", "postgresql": "database.pgdump"}


@dataclass(frozen=True)
class Facts:
    """What a backup says of its database."""

    rows: dict[str, int]
    migrations: list[tuple[str, str]]
    files: list[str]


@dataclass(frozen=True)
class Snapshot:
    """The file that a database was written to, and the facts of that same moment."""

    path: Path
    version: str
    facts: Facts


@contextmanager
def snapshot(folder: Path) -> Iterator[Snapshot]:
    """The database as it is now, beside the archive to be; the file goes when the block ends."""
    path = folder / f".{secrets.token_hex(8)}.database.part"
    os.close(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))
    try:
        if connection.vendor == "postgresql":
            yield _of_postgresql(path)
        else:
            yield _of_sqlite(path)
    finally:
        path.unlink(missing_ok=True)


def _of_sqlite(path: Path) -> Snapshot:
    """SQLite's own online backup, in one step: one moment, however much is written meanwhile."""
    connection.ensure_connection()
    with closing(sqlite3.connect(path)) as copy:
        connection.connection.backup(copy)
        copy.execute("PRAGMA journal_mode=DELETE")
        copy.execute("VACUUM")  # what was erased is not left between its pages
        return Snapshot(path, sqlite3.sqlite_version, facts_of_sqlite(copy))


def _of_postgresql(path: Path) -> Snapshot:
    """Counted and dumped from one and the same snapshot of the server."""
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
        cursor.execute("SELECT pg_export_snapshot(), current_setting('server_version')")
        (exported, version) = cursor.fetchone()
        dump(path, snapshot=exported)
        return Snapshot(path, version, facts_here())


# -- Facts ------------------------------------------------------------------------------------


def facts_here() -> Facts:
    """The facts of the site's own database."""
    tables = connection.introspection.table_names()
    with connection.cursor() as cursor:

        def ask(query: str) -> tuple[Sequence[Any], Sequence[Sequence[Any]]]:
            cursor.execute(query)
            return [column[0] for column in cursor.description], cursor.fetchall()

        return _facts(ask, tables)


def facts_of_sqlite(database: sqlite3.Connection) -> Facts:
    """The facts of a file, and nothing of the models' managers in between."""

    def ask(query: str) -> tuple[Sequence[Any], Sequence[Sequence[Any]]]:
        cursor = database.execute(query)
        return [column[0] for column in cursor.description], cursor.fetchall()

    _names, rows = ask(
        "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT GLOB 'sqlite_*'"
    )
    return _facts(ask, [name for (name,) in rows])


def _facts(ask: Ask, tables: Sequence[str]) -> Facts:
    counted = {name: ask(f'SELECT count(*) FROM "{name}"')[1][0][0] for name in sorted(tables)}
    applied: list[tuple[str, str]] = []
    if "django_migrations" in counted:
        rows = ask("SELECT app, name FROM django_migrations ORDER BY app, name")[1]
        applied = [(app, name) for app, name in rows]
    return Facts(counted, applied, _named_files(ask, counted))


def _named_files(ask: Ask, tables: dict[str, int]) -> list[str]:
    """The keys of the kept files that rows name; a database may be older than the code."""
    keys: set[str] = set()
    for model in apps.get_models(include_auto_created=True):
        table = model._meta.db_table
        for field in model._meta.concrete_fields:
            if not isinstance(field, models.FileField) or table not in tables:
                continue
            column = f'"{field.column}"'
            if field.column in ask(f'SELECT * FROM "{table}" LIMIT 0')[0]:
                rows = ask(f"SELECT DISTINCT {column} FROM \"{table}\" WHERE {column} <> ''")[1]
                keys.update(key for (key,) in rows)
    return sorted(keys)
