"""Rows that people edit: saved with who and why, and never over somebody else's change."""

from collections.abc import Sequence
from typing import Any, TypeVar

from django.core.exceptions import ValidationError
from django.db import IntegrityError, models, transaction
from django.utils.translation import gettext as _

from consult.models import User

Row = TypeVar("Row", bound=models.Model)
LONGEST_REASON = 100


class ChangedMeanwhileError(ValidationError):
    """Somebody else changed the row after the form was opened; nothing was overwritten."""


def version_of(row: Any) -> int:
    """The number of the latest change of a row that has a history; 0 before the first."""
    latest = row.history.order_by("-history_id").values_list("history_id", flat=True).first()
    return latest or 0


def held(row: Row) -> Row:
    """The row as it stands, locked until the transaction ends."""
    return type(row)._default_manager.select_for_update().get(pk=row.pk)


def refuse_overtaken(row: models.Model, seen: int | None) -> None:
    """ChangedMeanwhileError if saving `row` would undo what somebody did after `seen`.

    The caller holds the row and has given it its new values. Where they stand already nothing is
    undone: a second click, or two people with the same thought.
    """
    if seen is None or version_of(row) == seen or _stands_already(row):
        return
    history: Any = row.history  # type: ignore[attr-defined]  # set by simple_history
    latest: Any = history.select_related("history_user").order_by("-history_id").first()
    raise ChangedMeanwhileError(
        _(
            "%(who)s changed this meanwhile, so nothing of yours was saved. Open the form again "
            "to see how it stands now, and enter your change there."
        )
        % {"who": latest.history_user or _("Somebody")}
    )


def _stands_already(row: models.Model) -> bool:
    stored = type(row)._default_manager.get(pk=row.pk)
    names = [field.attname for field in row._meta.concrete_fields]
    return all(getattr(stored, name) == getattr(row, name) for name in names)


def remove_row(*, row: models.Model, by: User | None) -> None:
    """Delete a row, with who did it in its history, which stays."""
    row._history_user = by  # type: ignore[attr-defined]  # read by the history
    row.delete()


def save_row(
    *, row: models.Model, by: User | None, reason: str = "", fields: Sequence[str] | None = None
) -> None:
    """Check and save a row, with who and why in its history."""
    row._history_user = by  # type: ignore[attr-defined]  # read by the history
    row._change_reason = reason[:LONGEST_REASON] or None  # type: ignore[attr-defined]  # read by simple_history
    row.full_clean()
    try:
        with transaction.atomic():
            row.save(update_fields=fields)
    except IntegrityError:
        row.full_clean()  # somebody took the name between our look and our write: now it is said
        raise
