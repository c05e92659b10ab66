"""Migrated, empty databases, made by whoever first needs one and copied by those that follow.

The name of a file is a digest of all migrations and of the locked packages, so that a changed
migration makes another. Whoever uses a copy runs `migrate` on it, which sets the guards anew.
"""

import fcntl
import hashlib
import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from functools import cache
from pathlib import Path
from typing import Any

from tests.project.files import APPS, ROOT

FOLDER = ROOT / ".pytest_cache" / "migrated"


def copy_sqlite(to: Path) -> None:
    """Put a migrated database at `to`."""
    with _kept("sqlite3") as kept:
        if not kept.exists():
            with tempfile.TemporaryDirectory(prefix="ebb-") as name:
                _migrate(EBBMARK_VAR=name)
                with closing(sqlite3.connect(Path(name, "ebbmark.sqlite3"))) as source:
                    source.execute("VACUUM INTO ?", (name + "/whole",))
                shutil.copyfile(name + "/whole", part := kept.with_suffix(".part"))
                part.replace(kept)
    shutil.copyfile(kept, to)


def create_postgresql(server: Any, name: str) -> None:
    """Make a migrated database called `name` on a server of the tests."""
    server.psql(f"CREATE DATABASE {name}")
    uri = server.get_uri(database=name)
    with _kept("sql") as kept:
        if not kept.exists():
            _migrate(
                DATABASE_URL=uri,
                SECRET_KEY="of-a-database-that-nobody-logs-in-to" * 2,
                ALLOWED_HOSTS="localhost",
                SITE_URL="http://localhost:8000",
                EMAIL_URL="memorymail://",
                HTTPS="false",
            )
            part = kept.with_suffix(".part")
            _run(server.bin_path / "pg_dump", "--file", part, uri)
            part.replace(kept)
            return
    _run(server.bin_path / "psql", "-q", "-v", "ON_ERROR_STOP=1", "-f", kept, uri)


@cache
def _digest() -> str:
    files = [ROOT / "uv.lock"]
    files += [path for app in APPS for path in sorted(ROOT.glob(f"{app}/migrations/*.py"))]
    digest = hashlib.sha256()
    for path in files:
        digest.update(path.name.encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()[:24]


@contextmanager
def _kept(ending: str) -> Iterator[Path]:
    """Where the database of today's migrations is kept; others wait meanwhile, older ones go."""
    FOLDER.mkdir(parents=True, exist_ok=True)
    kept = FOLDER / f"{_digest()}.{ending}"
    with (FOLDER / f"lock.{ending}").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield kept
        for path in FOLDER.glob(f"*.{ending}"):
            if path not in (kept, FOLDER / f"lock.{ending}"):
                path.unlink()


def _migrate(**environment: str) -> None:
    alien = ("DATABASE_URL", "REDIS_URL", "ALLOWED_HOSTS", "SECRET_KEY", "MEDIA_ROOT")
    own = {name: value for name, value in os.environ.items() if name not in alien}
    command = [sys.executable, "manage.py", "migrate", "--verbosity", "0"]
    subprocess.run(command, cwd=ROOT, env=own | environment, check=True)


def _run(*command: Any) -> None:
    subprocess.run([str(part) for part in command], check=True, stdout=subprocess.DEVNULL)
