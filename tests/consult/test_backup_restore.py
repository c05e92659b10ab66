"""A practice is backed up, lost, and there again: by the commands themselves, on both databases.

Each command is tried once in a process of its own; elsewhere it is called in this one, which is
much faster, unless it works on another site or is killed.
"""

import io
import json
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import tarfile
import threading
from collections.abc import Iterator
from contextlib import closing
from datetime import timedelta
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit, urlunsplit

import psycopg
import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.core.management import CommandError, call_command
from django.db import connection, transaction
from django.db.migrations.loader import MigrationLoader
from django.utils import timezone
from pytest_django import Settings

from consult import tasks
from consult.models import AccessEvent, Client, Heartbeat, Job, Letter, OutboundMail
from consult.services.backups import make_backup
from consult.services.backups.archive import BackupError, check_archive
from consult.services.backups.database import facts_here
from consult.services.backups.postgresql import dump
from consult.services.backups.restore import Restored, restore_backup
from consult.services.letters import open_letter
from consult.services.privacy.erasures import erase_person
from mitigation.models import Case, Stage
from mitigation.services.attachments import attach_file
from mitigation.services.imports import import_case_folder
from surveys.models import Reading
from tests.consult.archives import forged
from tests.factories import ClientFactory, UserFactory, compared_case, ready_letter
from tests.files import content_of
from tests.project.files import ROOT
from tests.surveys.case_folders import as_zip

pytestmark = pytest.mark.django_db(transaction=True)
Environment = dict[str, str]
Tables = dict[str, list[str]]


@pytest.fixture
def site(
    live_services_environment: Environment, settings: Settings, tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> Environment:  # fmt: skip
    """The site of this test, as its commands find it."""
    environment = live_services_environment | {"EBBMARK_VAR": str(tmp_path / "var")}
    environment["ERASURE_LEDGER"] = str(tmp_path / "erasures.jsonl")
    settings.ERASURE_LEDGER = Path(environment["ERASURE_LEDGER"])
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT setting FROM pg_config WHERE name = 'BINDIR'")
            (environment["PG_BIN"],) = cursor.fetchone()
        settings.PG_BIN = environment["PG_BIN"]
    return environment


@pytest.fixture
def empty_site(site: Environment, tmp_path: Path) -> Iterator[Environment]:
    """Another machine: no database yet, no files."""
    folder = tmp_path / "elsewhere"
    other = site | {"MEDIA_ROOT": str(folder / "files"), "EBBMARK_VAR": str(folder / "var")}
    if connection.vendor == "sqlite":
        folder.mkdir()
        yield other | {"DATABASE_URL": f"sqlite:///{folder / 'ebbmark.sqlite3'}"}
        return
    with connection.cursor() as cursor:
        cursor.execute("DROP DATABASE IF EXISTS elsewhere")
        cursor.execute("CREATE DATABASE elsewhere")
    url = urlsplit(site["DATABASE_URL"])
    yield other | {"DATABASE_URL": urlunsplit(url._replace(path="/elsewhere"))}
    with connection.cursor() as cursor:
        cursor.execute("DROP DATABASE elsewhere WITH (FORCE)")


def run(site: Environment, *command: str) -> subprocess.CompletedProcess[str]:
    connection.close()  # the commands find nobody else at work
    return subprocess.run(
        [sys.executable, *command],
        cwd=ROOT,
        env={**os.environ, **site},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
    )


def manage(site: Environment, *command: str) -> subprocess.CompletedProcess[str]:
    return run(site, "manage.py", *command)


def command(name: str, *given: str) -> tuple[str, str]:
    """What a command says and what it complains of, in this process alone with the database."""
    output, complaints = io.StringIO(), io.StringIO()
    connection.close()
    try:
        call_command(name, *given, stdout=output, stderr=complaints)
    finally:
        connection.close()
    return output.getvalue(), complaints.getvalue()


def database_of(site: Environment) -> Any:
    """A connection that is not Django's."""
    url = site["DATABASE_URL"]
    if url.startswith("sqlite"):
        return sqlite3.connect(url.removeprefix("sqlite:///"))
    return psycopg.connect(url)


def tables_of(site: Environment) -> Tables:
    """Every row of every table, in an order of its own."""
    if site["DATABASE_URL"].startswith("sqlite"):
        names = "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT GLOB 'sqlite_*'"
    else:
        names = "SELECT tablename FROM pg_tables WHERE schemaname = 'public'"
    with closing(database_of(site)) as database:
        found = [name for (name,) in database.execute(names).fetchall()]
        return {
            name: sorted(map(repr, database.execute(f'SELECT * FROM "{name}"').fetchall()))
            for name in found
        }


def triggers_of(site: Environment) -> list[Any]:
    query = "SELECT tgname, tgrelid::regclass::text FROM pg_trigger WHERE NOT tgisinternal"
    if site["DATABASE_URL"].startswith("sqlite"):
        query = "SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"
    with closing(database_of(site)) as database:
        return sorted(database.execute(query).fetchall())


def files_of(site: Environment) -> dict[str, bytes]:
    folder = Path(site["MEDIA_ROOT"])
    found = {path for path in folder.rglob("*") if path.is_file()}
    return {str(path.relative_to(folder)): path.read_bytes() for path in found}


def practice() -> Letter:
    """A case with its visits and a ready letter, an imported one with its file, an attachment."""
    office = UserFactory(name="Zoë Falk")
    case = compared_case()
    letter = ready_letter(case)
    import_case_folder(source=as_zip(), by=office, now=timezone.now())
    attach_file(
        case=case, name="photo.txt", content=ContentFile(b"a note"), by=office, now=timezone.now()
    )
    AccessEvent.objects.create(at=timezone.now(), kind="logged-in", user=office)
    return letter


def backed_up(site: Environment, to: Path) -> Path:
    made = manage(site, "backup", "--to", str(to))
    assert made.returncode == 0, made.stderr
    return Path(made.stdout.splitlines()[0])


# -- There and back ---------------------------------------------------------------------------


def test_all_rows_and_all_files_come_back(site, empty_site, tmp_path):
    practice()
    before, kept = tables_of(site), files_of(site)
    assert len(kept) == 3 and len(before["surveys_reading"]) > 2
    made = manage(site, "backup", "--to", str(tmp_path))
    path = Path(made.stdout.splitlines()[0])
    assert path.parent == tmp_path and path.stat().st_mode & 0o777 == 0o600
    assert "holds people's data" in made.stderr and "secret key is not in it" in made.stderr
    assert not [file for file in tmp_path.iterdir() if file.suffix == ".part"]

    checked = manage(site, "backup", "--check", str(path))
    assert checked.returncode == 0, checked.stderr
    assert made.stdout.splitlines()[1] in checked.stdout
    restored = manage(empty_site, "restore", str(path))
    assert restored.returncode == 0, restored.stderr
    assert made.stdout.splitlines()[1] in restored.stdout
    assert tables_of(empty_site) == before
    assert files_of(empty_site) == kept
    assert triggers_of(empty_site) == triggers_of(site) != []
    with (
        closing(database_of(empty_site)) as database,
        pytest.raises((sqlite3.Error, psycopg.Error), match="only ever added to"),
    ):
        database.execute("UPDATE consult_accessevent SET what = 'x'")


def test_without_a_place_it_goes_to_the_folder_of_backups(site, tmp_path):
    made = manage(site, "backup")
    path = Path(made.stdout.splitlines()[0])
    assert path.parent == tmp_path / "var" / "backups"
    assert path.parent.stat().st_mode & 0o777 == 0o700
    with pytest.raises(CommandError, match="is there already"):
        command("backup", "--to", str(path))
    with pytest.raises(CommandError, match="is no folder"):
        command("backup", "--to", str(tmp_path / "nowhere"))


def test_what_the_rows_name_and_nobody_has_is_said(site, tmp_path):
    letter = practice()
    default_storage.delete(letter.file_key())
    _said, complaints = command("backup", "--to", str(tmp_path / "backup.tar"))
    assert f"names {letter.file_key()}, which is not there" in complaints
    with tarfile.open(tmp_path / "backup.tar") as tar:
        manifest = json.loads(tar.extractfile("manifest.json").read())
    assert manifest["missing_files"] == [letter.file_key()]
    assert manifest["rows"] == facts_here().rows
    _said, complaints = command("restore", "--replace", str(tmp_path / "backup.tar"))
    assert f"names {letter.file_key()}, which was not there" in complaints


@pytest.mark.long
def test_an_older_backup_is_brought_up_to_the_code(empty_site, tmp_path):
    assert manage(empty_site, "migrate", "consult", "0006").returncode == 0
    path = backed_up(empty_site, tmp_path / "old.tar")
    assert "mitigation_case" not in tables_of(empty_site)
    restored = manage(empty_site, "restore", str(path))
    assert restored.returncode == 0, restored.stderr
    assert "migrations have come since and were applied" in restored.stdout
    assert "mitigation_case" in tables_of(empty_site)
    with closing(database_of(empty_site)) as database:
        applied = set(database.execute("SELECT app, name FROM django_migrations").fetchall())
    assert applied == set(MigrationLoader(connection).graph.nodes)


# -- What is refused, before anything is touched ----------------------------------------------


@pytest.fixture
def backup(site: Environment, tmp_path: Path) -> Path:
    """A backup of the practice, which has changed since then."""
    practice()
    path = make_backup(to=tmp_path / "backup.tar", now=timezone.now()).path
    ClientFactory(name="came later")
    ready_letter(compared_case())
    return path


def restore(path: Path, *, replace: bool = True) -> Restored:
    """In this process, which is alone with the database."""
    connection.close()
    try:
        return restore_backup(path=path, replace=replace, now=timezone.now())
    finally:
        connection.close()


def untouched(site: Environment, before: tuple[Tables, dict[str, bytes]]) -> bool:
    return (tables_of(site), files_of(site)) == before


@pytest.mark.parametrize("place", [0.001, 0.3, 0.9, 0.9999, "cut", "longer"])
def test_an_altered_backup_touches_nothing(site, backup, place):
    before = tables_of(site), files_of(site)
    whole = backup.read_bytes()
    altered = bytearray(whole)
    if place == "cut":
        altered = altered[: len(whole) // 2]
    elif place == "longer":
        altered += bytes(512)
    else:
        altered[int(len(whole) * place)] ^= 1
    backup.write_bytes(altered)
    with pytest.raises(BackupError):
        restore(backup)
    assert untouched(site, before)
    if place == "cut":
        for given in (["restore", "--replace"], ["backup", "--check"]):
            with pytest.raises(CommandError):
                command(*given, str(backup))
        refused = manage(site, "restore", "--replace", str(backup))
        assert refused.returncode == 1
        assert refused.stderr.startswith("CommandError: ")
    assert untouched(site, before)
    backup.write_bytes(whole)
    restore(backup)
    assert not Client.objects.filter(name="came later").exists()


def test_a_site_with_data_is_replaced_only_when_that_is_said(site, backup):
    before = tables_of(site), files_of(site)
    with pytest.raises(BackupError, match="--replace"):
        restore(backup, replace=False)
    assert untouched(site, before)
    later = Letter.objects.latest("pk").file_key()
    output, _complaints = command("restore", "--replace", str(backup))
    assert "1 files that no row names any more were removed" in output
    assert not Client.objects.filter(name="came later").exists()
    assert not default_storage.exists(later)
    assert {content_of(open_letter(letter))[:5] for letter in Letter.objects.all()} == {b"%PDF-"}


def test_a_file_of_other_bytes_under_a_key_of_the_backup_is_replaced(site, backup):
    letter = Letter.objects.earliest("pk")
    Path(default_storage.path(letter.file_key())).write_bytes(b"not what was issued")
    restore(backup)
    assert content_of(open_letter(Letter.objects.get(number=letter.number))).startswith(b"%PDF-")


def test_a_site_at_work_is_not_replaced(site, backup):
    before = tables_of(site), files_of(site)
    beat = Heartbeat.objects.create(worker="w", beat_at=timezone.now() + timedelta(seconds=600))
    with pytest.raises(BackupError, match="worker of this site is alive"):
        restore(backup)
    beat.delete()
    if site["DATABASE_URL"].startswith("sqlite"):
        opened: Any = sqlite3.connect(site["DATABASE_URL"].removeprefix("sqlite:///"))
    else:
        opened = psycopg.connect(site["DATABASE_URL"])
    with closing(opened) as other:
        other.execute("SELECT 1 FROM consult_client").fetchall()
        with pytest.raises(BackupError, match="Stop the site first"):
            restore(backup)
    assert untouched(site, before)


def changed_manifest(path: Path, changes: dict[str, Any]) -> None:
    """The same backup with another manifest and a seal that fits."""
    with tarfile.open(path) as tar:
        members = [
            (name, tar.extractfile(name).read())
            for name in tar.getnames()
            if name not in ("ABOUT", "manifest.json", "SEAL")
        ]
        manifest = json.loads(tar.extractfile("manifest.json").read())
    forged(path, members, manifest["members"], manifest | changes)


def test_a_backup_of_another_database_or_a_newer_version_is_refused(site, backup):
    before = tables_of(site), files_of(site)
    whole = check_archive(backup).manifest
    other = {"sqlite": "postgresql", "postgresql": "sqlite"}[connection.vendor]
    member = whole["database"]["member"]
    cases = [
        ({}, None),
        ({"migrations": [*whole["migrations"], ["consult", "9999_later"]]}, "a newer version"),
        ({"database": {"vendor": other, "member": member}}, "can not be read"),
        ({"rows": {'x"; DROP TABLE consult_client; --': 1}}, "can not be read"),
    ]
    for changes, word in cases:
        changed_manifest(backup, changes)
        if word is None:  # the forger's work is good where nothing is changed
            check_archive(backup)
            continue
        with pytest.raises(BackupError, match=word):
            restore(backup)
        assert untouched(site, before), changes
        changed_manifest(backup, whole)


# -- In the midst of things -------------------------------------------------------------------


def test_a_backup_taken_while_somebody_writes_is_of_one_moment(site, tmp_path):
    """Clients come in pairs, each pair in one transaction: no backup may hold half of one."""
    stop = threading.Event()

    def write() -> None:
        number = 0
        while not stop.is_set():
            number += 1
            with transaction.atomic():
                Client.objects.create(name=f"pair {number}")
                Client.objects.create(name=f"pair {number}")
        connection.close()

    writer = threading.Thread(target=write)
    writer.start()
    try:
        counted = []
        for number in range(6):
            made = make_backup(to=tmp_path / f"{number}.tar", now=timezone.now())
            counted.append(check_archive(made.path).manifest["rows"]["consult_client"])
    finally:
        stop.set()
        writer.join()
    assert counted == sorted(set(counted)), "nobody wrote meanwhile"
    assert [count % 2 for count in counted] == [0] * 6
    restore(made.path)
    assert len(tables_of(site)["consult_client"]) == counted[-1]


KILLED = """
import os, signal
from importlib import import_module
from django.core.management import call_command
module, name = {place!r}.split(":")
setattr(import_module(module), name, lambda *a, **k: os.kill(os.getpid(), signal.SIGKILL))
call_command("restore", {path!r}, replace=True)
"""
PLACES = {
    "sqlite": [
        "consult.services.backups.restore:_keep_files",
        "consult.services.backups.restore:_migrate",
        "consult.services.backups.sqlite:swap",
        "os:replace",
    ],
    "postgresql": [
        "consult.services.backups.restore:_keep_files",
        "consult.services.backups.postgresql:_counted",
    ],
}


@pytest.mark.parametrize("step", range(4))
def test_a_killed_restore_leaves_the_old_state_in_use(site, backup, step):
    places = PLACES[connection.vendor]
    place = places[step % len(places)]
    default_storage.delete(Letter.objects.earliest("pk").file_key())  # one file to be written
    kept_later = Letter.objects.latest("pk").number
    before = tables_of(site)
    code = KILLED.format(place=place, path=str(backup))
    killed = manage(site, "shell", "--no-imports", "-c", code)
    assert killed.returncode == -signal.SIGKILL, killed.stderr
    assert tables_of(site) == before
    assert content_of(open_letter(Letter.objects.get(number=kept_later))).startswith(b"%PDF-")
    Client.objects.create(name="goes on")
    restore(backup)
    assert not Client.objects.filter(name__in=["goes on", "came later"]).exists()
    assert not list(Path(site["MEDIA_ROOT"]).rglob("*.part"))


def test_a_restore_that_fails_takes_all_of_it_back(site, backup, monkeypatch):
    """A row too few: on SQLite it is seen before the swap, on PostgreSQL before the commit."""
    whole = check_archive(backup).manifest
    before = tables_of(site)
    changed_manifest(backup, {"rows": whole["rows"] | {"consult_client": 99}})
    with pytest.raises(BackupError, match=r"sound|does not hold its 99 rows"):
        restore(backup)
    assert tables_of(site) == before
    if connection.vendor == "sqlite":
        assert not list(Path(connection.settings_dict["NAME"]).parent.glob("*.restoring"))


def test_who_was_erased_since_is_erased_again(site, tmp_path):
    letter = practice()
    name = letter.client.name
    OutboundMail.objects.create(key="k", to="a@example.org", subject="s", body="b", message_id="m")
    Case.objects.update(stage=Stage.DECLINED)
    path = make_backup(to=tmp_path / "backup.tar", now=timezone.now()).path
    erase_person(person=letter.client, by=UserFactory(), now=timezone.now(), reason="asked for it")
    tasks.run_job(Job.objects.get(kind="erase-files").pk)
    assert not Client.objects.filter(name=name).exists()
    output, complaints = command("restore", "--replace", str(path))
    assert "1 erasures that came after it were done again" in output
    assert "1 mails that were not sent" in complaints
    assert not Client.objects.filter(name=name).exists()
    assert Reading.objects.exists()


# -- PostgreSQL's tools -----------------------------------------------------------------------


def test_missing_or_old_tools_are_named(site, settings, tmp_path):
    if connection.vendor != "postgresql":
        return
    settings.PG_BIN = str(tmp_path)
    with pytest.raises(BackupError, match=r"pg_dump is not there\. Install the client programs"):
        dump(tmp_path / "dump", snapshot="")
    tool = tmp_path / "pg_dump"
    tool.write_text("#!/bin/sh\necho 'pg_dump (PostgreSQL) 9.6.24 (invented)'\n")
    tool.chmod(0o755)
    with pytest.raises(BackupError, match="version 9, older than the server's"):
        dump(tmp_path / "dump", snapshot="")
    assert shutil.which("pg_dump", path=settings.PG_BIN) == str(tool)
    settings.PG_BIN = site["PG_BIN"]
    with pytest.raises(BackupError, match="pg_dump refused"):
        dump(tmp_path / "dump", snapshot="no such snapshot")
