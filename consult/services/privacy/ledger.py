"""The ledger of erasures: a file beside the database, so that it outlives a restored backup.

One line per erasure or withdrawal, with numbers and no names. After an older backup is restored,
every one in it that the backup does not know of is done again.
"""

import json
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.conf import settings

from consult.models import Erasure, MedicalDevice


def note(erasure: Erasure) -> None:
    """Write an erasure down, once however often it is called."""
    entry = {
        "uid": str(erasure.uid),
        "at": erasure.at.isoformat(),
        "by": erasure.by_id,
        "clients": erasure.clients,
        "users": erasure.users,
        "reason": erasure.reason,
    }
    if entry["uid"] not in {known["uid"] for known in entries()}:
        _append(entry)


def note_withdrawal(device: MedicalDevice) -> None:
    """Write down that consent was withdrawn, by the row's number and when it was entered."""
    entry = {"device": device.pk, "agreed_at": device.agreed_at.isoformat()}
    if entry not in withdrawals():
        _append(entry)


def _append(entry: dict[str, Any]) -> None:
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
    return (entry for entry in _lines(path) if "uid" in entry)


def withdrawals(path: Path | None = None) -> list[dict[str, Any]]:
    """Every withdrawal in order."""
    return [entry for entry in _lines(path) if "device" in entry]


def _lines(path: Path | None) -> Iterator[dict[str, Any]]:
    path = path or Path(settings.ERASURE_LEDGER)
    if not path.exists():
        return
    for line in path.read_text().splitlines():
        try:
            yield json.loads(line)
        except ValueError:
            continue
