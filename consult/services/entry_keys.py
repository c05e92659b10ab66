"""A form that is sent twice enters once: a double click, or a resend after a lost connection.

The form carries a hidden key of its own. The key and what was typed are digested, so that the same
form with other content is another entry and nothing that somebody typed is lost. The digest is
unique in the database: of two at once the second waits for the first, and finds what it made.
"""

import hashlib
from collections.abc import Callable, Mapping
from typing import Any, TypeVar
from uuid import UUID

from django.db import models, transaction
from django.forms.models import model_to_dict

from consult.models import EntryKey, User
from consult.services.changes import held, refuse_overtaken, save_row

Row = TypeVar("Row", bound=models.Model)


def digest_of(key: UUID | None, what: str, about: int | None, typed: Mapping[str, Any]) -> str:
    """What the same form with the same content shares; "" for what came from no form."""
    if key is None:
        return ""
    content = [(name, getattr(typed[name], "pk", typed[name])) for name in sorted(typed)]
    return hashlib.sha256(repr((str(key), what, about, content)).encode()).hexdigest()


def enter_once(model: type[Row], digest: str, enter: Callable[[], Row]) -> Row:
    """The row that this very form made, or the one that `enter` makes now.

    What the row hangs on is locked before, so that no two wait for each other. A row that was made
    and is gone again is made anew: somebody went back to the form and meant it.
    """
    if not digest:
        return enter()
    with transaction.atomic():
        EntryKey.objects.get_or_create(digest=digest, defaults={"row": EntryKey.NONE_YET})
        entry = EntryKey.objects.select_for_update().get(digest=digest)
        known = model._default_manager.filter(pk=entry.row).first()
        if known is not None:
            return known
        row = enter()
        EntryKey.objects.filter(pk=entry.pk).update(row=row.pk)
    return row


def enter_or_change(
    row: Row,
    by: User | None,
    seen: int | None,
    key: UUID | None,
    look: Callable[[], None] = lambda: None,
) -> Row:
    """A new row by the form that it came with, a known one by the state that was seen of it.

    `look` may refuse a new row that this form has not made yet. The caller has a transaction.
    """
    if row.pk:
        held(row)
        refuse_overtaken(row, seen)
        save_row(row=row, by=by)
        return row

    def enter() -> Row:
        look()
        save_row(row=row, by=by)
        return row

    digest = digest_of(key, row._meta.label, None, model_to_dict(row))
    return enter_once(type(row), digest, enter)
