"""What every entry at a visit stands on: the lock, the seal, the history."""

from collections.abc import Mapping
from typing import Any, TypeVar
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import models
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from consult.models import User
from consult.services import changes
from surveys.models import Visit

Row = TypeVar("Row", bound=models.Model)
SENT_OTHERWISE = "sent-otherwise"


def locked(visit: Visit) -> Visit:
    """The visit, held until the transaction ends; refused when it is sealed."""
    row = changes.held(visit)
    refuse_sealed(row)
    return row


def refuse_sealed(visit: Visit) -> None:
    if visit.sealed_at is not None:
        raise ValidationError(already_sealed(visit))


def already_sealed(visit: Visit) -> str:
    assert visit.sealed_at is not None
    when = date_format(timezone.localtime(visit.sealed_at), "DATETIME_FORMAT")
    return _("This visit was sealed on %(when)s by %(who)s. It cannot be changed any more.") % {
        "when": when,
        "who": visit.sealed_by or _("an import"),
    }


def sent_before(model: type[Row], uid: UUID | None, sent: Mapping[str, Any]) -> Row | None:
    """The row that came under this key before; refused where the key comes with other content.

    What was changed since does not make it another one: its history knows what was sent.
    """
    row = model._default_manager.filter(uid=uid).first() if uid else None
    if row is None or all(getattr(row, name) == value for name, value in sent.items()):
        return row
    history = getattr(row, "history", None)
    if history is None or not history.filter(**sent).exists():
        raise sent_otherwise()
    return row


def sent_otherwise() -> ValidationError:
    """Said of a key that came before with other content."""
    return ValidationError(
        _("This was entered before, with other content. Send it again to enter this as well."),
        code=SENT_OTHERWISE,
    )


def with_uid(row: Row, uid: UUID | None) -> Row:
    """The row under the key that its sender gave it; else it keeps its own."""
    if uid is not None:
        row.uid = uid  # type: ignore[attr-defined]  # of the models that have it
    return row


def known_names(given: Mapping[str, Any], allowed: frozenset[str]) -> None:
    unknown = set(given) - allowed
    if unknown:
        raise TypeError(f"unknown names: {', '.join(sorted(unknown))}")


def save_row(row: models.Model, by: User) -> None:
    changes.save_row(row=row, by=by)
