"""A form that is sent twice enters once: a double click, or a resend after a lost connection.

The form carries a hidden key of its own. The key and what was typed are digested, so that the same
form with other content is another entry and nothing that somebody typed is lost. Ask under the lock
of the row that the entry hangs on; of two at once the second then finds what the first one made.
"""

import hashlib
from collections.abc import Mapping
from typing import Any
from uuid import UUID

from surveys.models import EntryKey


def digest_of(key: UUID | None, what: str, about: int, typed: Mapping[str, Any]) -> str:
    """What the same form with the same content shares; "" for what came from no form."""
    if key is None:
        return ""
    content = [(name, getattr(typed[name], "pk", typed[name])) for name in sorted(typed)]
    return hashlib.sha256(repr((str(key), what, about, content)).encode()).hexdigest()


def entered_before(digest: str) -> int | None:
    """The key of the row that this very form made."""
    return EntryKey.objects.filter(digest=digest).values_list("row", flat=True).first()


def remember_entry(digest: str, row: int) -> None:
    if digest:
        EntryKey.objects.create(digest=digest, row=row)
