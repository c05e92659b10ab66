"""Archives of backups as somebody makes them who means harm."""

import hashlib
import io
import json
import tarfile
from pathlib import Path
from typing import Any

from consult.services.backups.archive import ABOUT_TEXT, FORMAT, seal

FACTS = {"database": {"member": "database.sqlite3"}, "made_at": "2026-11-25T10:00:00+00:00"}


def entry(name: str, data: bytes) -> dict[str, Any]:
    return {"name": name, "size": len(data), "sha256": hashlib.sha256(data).hexdigest()}


def forged(
    path: Path, members: list[tuple[Any, bytes]], named: Any, more: dict[str, Any] | None = None
) -> Path:
    """An archive of any content under a seal that fits, as somebody makes it who means harm."""
    manifest = json.dumps({"format": FORMAT, **FACTS, "members": named} | (more or {})).encode()
    out = io.BytesIO()
    with tarfile.open(fileobj=out, mode="w", format=tarfile.PAX_FORMAT) as tar:
        for name, data in [("ABOUT", ABOUT_TEXT.encode()), *members, ("manifest.json", manifest)]:
            info = name if isinstance(name, tarfile.TarInfo) else tarfile.TarInfo(name)
            info.mode = 0o600
            info.size = len(data)
            tar.addfile(info, io.BytesIO(data))
        body = out.getvalue()
    path.write_bytes(body + seal(hashlib.sha256(body).hexdigest()))
    return path
