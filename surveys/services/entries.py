"""What every entry at a visit stands on: the lock, the seal, the history."""

from collections.abc import Mapping
from typing import Any

from django.core.exceptions import ValidationError
from django.db import models
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from consult.models import User
from consult.services import changes
from surveys.models import Visit


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


def known_names(given: Mapping[str, Any], allowed: frozenset[str]) -> None:
    unknown = set(given) - allowed
    if unknown:
        raise TypeError(f"unknown names: {', '.join(sorted(unknown))}")


def save_row(row: models.Model, by: User) -> None:
    changes.save_row(row=row, by=by)
