"""What every test stands on: its own folder for files, and rows of migrations that stay.

Random order mixes tests that roll back with tests that commit (`django_db(transaction=True)`). The
latter end with every table emptied, so what the migrations wrote is put back here afterwards.
"""

import gc
import json
import os
import secrets
from collections.abc import Generator, Iterable, Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit, urlunsplit

import pytest
from django.core.cache import cache
from django.db import connection
from django.test import override_settings
from django.utils import translation
from factory.django import DjangoModelFactory
from pytest_django import DjangoDbBlocker, Settings

from consult.services.guards import remove_guards
from tests.migrated import copy_sqlite

OWN_APPS = ("consult.", "surveys.", "mitigation.")
MIGRATED = pytest.StashKey[tuple[str, str, DjangoDbBlocker]]()


@pytest.fixture(scope="session", autouse=True)
def _fast_hashes() -> Iterator[None]:
    with override_settings(PASSWORD_HASHERS=["tests.hashing.FastHasher"]):
        yield


@pytest.fixture(autouse=True)
def _language_of_one_test() -> Generator[None, None, None]:
    """A page in somebody's language leaves it behind in this thread; the next test starts anew."""
    yield
    translation.deactivate()


@pytest.fixture(autouse=True)
def _numbers_of_one_test() -> None:
    """The names of its rows are the same in whatever order the tests come."""
    for numbered in DjangoModelFactory.__subclasses__():
        numbered.reset_sequence(0)


@pytest.fixture(autouse=True)
def media_folder(tmp_path: Path, settings: Settings, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Kept files of a test go to its own folder, in child processes too."""
    folder = tmp_path / "files"
    settings.MEDIA_ROOT = folder
    settings.ERASURE_LEDGER = tmp_path / "erasures.jsonl"
    monkeypatch.setenv("MEDIA_ROOT", str(folder))
    return folder


@pytest.fixture(scope="session")
def django_db_keepdb(django_db_keepdb: bool, django_db_modify_db_settings: None) -> bool:
    """Begin with a migrated copy: migrating takes longer than many a test."""
    if not django_db_keepdb and connection.vendor == "sqlite":
        copy_sqlite(Path(connection.settings_dict["TEST"]["NAME"]))
        return True
    return django_db_keepdb


@pytest.fixture(scope="session")
def django_db_setup(
    request: pytest.FixtureRequest,
    django_db_setup: None,
    django_db_keepdb: bool,
    django_db_blocker: DjangoDbBlocker,
) -> Generator[None, None, None]:
    """The test database, with a copy of what the migrations wrote into it."""
    _empty_past_the_guards()
    name = str(connection.settings_dict["NAME"])
    with django_db_blocker.unblock():
        rows = json.loads(connection.creation.serialize_db_to_string())
    own = [row for row in rows if row["model"].startswith(OWN_APPS)]
    request.config.stash[MIGRATED] = (name, json.dumps(own), django_db_blocker)
    yield
    if django_db_keepdb and not request.config.getvalue("reuse_db"):  # else it goes by itself
        del request.config.stash[MIGRATED]  # nothing is put back into it any more
        with django_db_blocker.unblock():
            connection.close()
        for ending in ("", "-wal", "-shm"):
            Path(name + ending).unlink(missing_ok=True)


def _empty_past_the_guards() -> None:
    """Take the guards off before `flush` empties the tables; what follows it puts them on again."""
    operations = type(connection.ops)  # of every thread's connection: a browser's test has another
    as_ever = operations.execute_sql_flush

    def execute_sql_flush(self: Any, sql_list: Iterable[str]) -> None:
        remove_guards()
        as_ever(self, sql_list)

    operations.execute_sql_flush = execute_sql_flush  # type: ignore[method-assign]


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    items.sort(key=lambda item: item.get_closest_marker("long") is None)


def pytest_collection_finish() -> None:
    """What is imported by now stays to the end, so nobody looks for garbage in it."""
    gc.collect()
    gc.freeze()


@pytest.hookimpl(wrapper=True)
def pytest_runtest_teardown(item: pytest.Item) -> Generator[None, None, None]:
    try:
        yield
    finally:  # a test that breaks at its end takes nothing away from the next one
        _put_back(item)


def _put_back(item: pytest.Item) -> None:
    if not _commits(item) or MIGRATED not in item.config.stash:
        return
    name, rows, blocker = item.config.stash[MIGRATED]
    if str(connection.settings_dict["NAME"]) != name:
        return  # after the last test: the test database is gone, and this is a real one
    with blocker.unblock():
        connection.creation.deserialize_db_from_string(rows)
        cache.clear()  # the tries of a log-in, which no flush empties
        connection.close()


def _commits(item: pytest.Item) -> bool:
    names = getattr(item, "fixturenames", ())
    marker = item.get_closest_marker("django_db")
    return (
        "transactional_db" in names
        or "live_server" in names
        or bool(marker and marker.kwargs.get("transaction"))
    )


@pytest.fixture
def live_services_environment(
    transactional_db: None, monkeypatch: pytest.MonkeyPatch, media_folder: Path
) -> dict[str, str]:
    """Child processes (worker, web, commands) work on the database and files of this test."""
    environment = {
        "DATABASE_URL": _test_database_url(),
        "MEDIA_ROOT": str(media_folder),
        "ERASURE_LEDGER": str(media_folder.with_name("erasures.jsonl")),
        "SECRET_KEY": secrets.token_urlsafe(50),
        "ALLOWED_HOSTS": "localhost,127.0.0.1",
        "SITE_URL": "http://localhost:8000",
        "EMAIL_URL": "memorymail://",
        "HTTPS": "false",
        "JOB_SWEEP_S": "0.2",
        "DAILY_CLEARING": "false",
    }
    for name, value in environment.items():
        monkeypatch.setenv(name, value)
    monkeypatch.delenv("REDIS_URL", raising=False)
    return environment


def _test_database_url() -> str:
    name = str(connection.settings_dict["NAME"])
    if connection.vendor == "sqlite":
        return f"sqlite:///{name}"
    url = urlsplit(os.environ["DATABASE_URL"])
    return urlunsplit(url._replace(path=f"/{name}"))
