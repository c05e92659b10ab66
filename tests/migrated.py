"""A migrated, empty SQLite database, made by the first run and copied by those that follow.

The name of the file is a digest of all migrations and of the locked packages, so that a changed
migration makes another.
"""

import hashlib
import os
import shutil
import sqlite3
from contextlib import closing
from functools import cache
from pathlib import Path
from typing import Any

from tests.project.files import APPS, ROOT

FOLDER = ROOT / ".pytest_cache" / "migrated"


@cache
def _kept() -> Path:
    files = [ROOT / "uv.lock"]
    files += [path for app in APPS for path in sorted(ROOT.glob(f"{app}/migrations/*.py"))]
    digest = hashlib.sha256()
    for path in files:
        digest.update(path.name.encode() + b"\0" + path.read_bytes())
    return FOLDER / f"{digest.hexdigest()[:24]}.sqlite3"


def copy_migrated(to: Path) -> bool:
    """Put a migrated database at `to`; False where none has been kept yet."""
    if not _kept().exists():
        return False
    shutil.copyfile(_kept(), to)
    return True


def keep_migrated(database: Any) -> None:
    """Keep a copy of the migrated, empty database of this connection; older copies go."""
    if database.vendor != "sqlite" or _kept().exists():
        return
    FOLDER.mkdir(parents=True, exist_ok=True)
    part = FOLDER / f"{os.getpid()}.part"
    with closing(sqlite3.connect(database.settings_dict["NAME"])) as source:
        source.execute("VACUUM INTO ?", (str(part),))
    part.replace(_kept())
    for path in FOLDER.glob("*.sqlite3"):
        if path != _kept():
            path.unlink(missing_ok=True)
