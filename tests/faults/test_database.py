"""The suite runs on the database that was asked for, set up as in life."""

import os
from pathlib import Path

import pytest
from django.db import connection

from surveys.models import Guideline


@pytest.mark.django_db
def test_the_database_is_the_one_that_was_asked_for() -> None:
    assert connection.vendor == os.environ.get("EXPECTED_DB", "sqlite")


@pytest.mark.django_db(transaction=True)
def test_sqlite_is_a_file_that_keeps_what_it_is_told() -> None:
    if connection.vendor != "sqlite":
        return
    assert Path(connection.settings_dict["NAME"]).is_file()
    with connection.cursor() as cursor:
        found = {}
        for name in ("journal_mode", "synchronous", "foreign_keys", "busy_timeout"):
            cursor.execute(f"PRAGMA {name}")
            found[name] = cursor.fetchone()[0]
    assert found == {
        "journal_mode": "wal",
        "synchronous": 2,  # FULL
        "foreign_keys": 1,
        "busy_timeout": 20_000,
    }
    assert connection.transaction_mode == "IMMEDIATE"  # type: ignore[attr-defined]  # SQLite's own


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("time", ["first", "second"])
def test_rows_of_migrations_outlive_tests_that_commit(time: str) -> None:
    assert Guideline.objects.exists()
    Guideline.objects.all().delete()
