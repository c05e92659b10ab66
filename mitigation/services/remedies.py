"""The catalogue of remedies: a kind that an item has is never changed, but followed by another."""

from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from consult.models import User
from consult.services.changes import held, refuse_overtaken, save_row
from consult.services.entry_keys import digest_of, enter_once
from mitigation.models import Remedy
from mitigation.models.remedies import LONGEST_KEY
from surveys.services.entries import known_names

KIND = frozenset(
    {"name", "acts_on", "is_electric", "is_magnetic", "effect_db", "spread_db", "works_percent",
     "done_by", "instructions", "price"}
)  # fmt: skip
ALWAYS_OPEN = frozenset({"price", "is_retired"})


@transaction.atomic
def add_remedy(*, by: User, code: str, key: UUID | None = None, **given: Any) -> Remedy:
    """A new kind under a code by which case folders name it."""
    known_names(given, KIND)

    def enter() -> Remedy:
        row = Remedy(key=code, **given)
        _save(row, by)
        return row

    return enter_once(Remedy, digest_of(key, "remedy", None, given | {"code": code}), enter)


@transaction.atomic
def change_remedy(*, remedy: Remedy, by: User, version: int | None = None, **given: Any) -> Remedy:
    """Put a kind right; of one that an item has only its price, and whether it is offered."""
    known_names(given, KIND | ALWAYS_OPEN)
    row = held(remedy)
    if is_in_use(row):
        changed = {name for name, value in given.items() if getattr(row, name) != value}
        if changed - ALWAYS_OPEN:
            raise ValidationError(
                _("Items have this kind, so it stays as it is. Follow it by another kind.")
            )
    for name, value in given.items():
        setattr(row, name, value)
    refuse_overtaken(row, version)
    _save(row, by)
    return row


@transaction.atomic
def follow_remedy(
    *, remedy: Remedy, by: User, code: str, key: UUID | None = None, **given: Any
) -> Remedy:
    """Another kind in the place of one, which is offered no more; its items keep it."""
    known_names(given, KIND)
    old = held(remedy)

    def enter() -> Remedy:
        row = Remedy(key=code, **given)
        _save(row, by)
        if not old.is_retired:
            old.is_retired = True
            save_row(row=old, by=by, fields=["is_retired"])
        return row

    return enter_once(Remedy, digest_of(key, "follows", old.pk, given | {"code": code}), enter)


def is_in_use(remedy: Remedy) -> bool:
    """Whether an item of any case has this kind."""
    return remedy.items.exists()


def next_code(remedy: Remedy) -> str:
    """A free code for what follows a kind, such as `demand-switch-2`."""
    stem, _dash, number = remedy.key.rpartition("-")
    stem = stem if number.isdecimal() else remedy.key
    taken = set(Remedy.objects.filter(key__startswith=stem).values_list("key", flat=True))
    at = 2
    while (code := f"{stem[: LONGEST_KEY - 5]}-{at}") in taken:
        at += 1
    return code


def _save(row: Remedy, by: User) -> None:
    faults = {}
    if not (row.is_electric or row.is_magnetic):
        faults["is_electric"] = _("A kind acts on electric fields, on the flux density or on both.")
    if (row.effect_db is None) != (row.spread_db is None):
        faults["spread_db"] = _("Effect and spread are given together, or neither of them.")
    on_circuits = row.acts_on == Remedy.ActsOn.CIRCUITS
    if on_circuits and row.done_by != Remedy.DoneBy.ELECTRICIAN:
        faults["done_by"] = _("Work on circuits is for a licensed electrician.")
    if faults:
        raise ValidationError(faults)
    save_row(row=row, by=by)
