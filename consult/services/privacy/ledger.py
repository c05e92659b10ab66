"""The ledger of erasures: a file beside the database, so that it outlives a restored backup.

One line per erasure, with numbers and no names. After an older backup is restored, every erasure in
it that the backup does not know of is done again.
"""

import json
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.conf import settings

from consult.models import Erasure


def note(erasure: Erasure) -> None:
    """Write an erasure down, once however often it is called."""
    if str(erasure.uid) in {entry["uid"] for entry in entries()}:
        return
    entry = {
        "uid": str(erasure.uid),
        "at": erasure.at.isoformat(),
        "by": erasure.by_id,
        "clients": erasure.clients,
        "users": erasure.users,
        "reason": erasure.reason,
    }
    path = Path(settings.ERASURE_LEDGER)
    path.parent.mkdir(parents=True, exist_ok=True)
    broken_off = path.exists() and not path.read_bytes().endswith(b"\n")
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
    with os.fdopen(descriptor, "a") as file:
        file.write("\n" * broken_off + json.dumps(entry) + "\n")
        file.flush()
        os.fsync(file.fileno())


def entries(path: Path | None = None) -> Iterator[dict[str, Any]]:
    """Every erasure in order; a line that a full disk cut off is skipped."""
    path = path or Path(settings.ERASURE_LEDGER)
    if not path.exists():
        return
    for line in path.read_text().splitlines():
        try:
            yield json.loads(line)
        except ValueError:
            continue
