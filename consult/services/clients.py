"""Clients, the people beside them, and their homes: entered, changed, two records made one."""

from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import models, transaction
from django.db.models.functions import Least
from django.utils.translation import gettext as _

from consult.models import Client, Contact, DataRequest, Property, User
from consult.models.folding import folded, with_words
from consult.models.texts import as_one_line
from consult.services.changes import remove_row, save_row
from consult.services.entry_keys import enter_or_change
from consult.services.guards import unguarded

FILLED_FROM_THE_OTHER = ("email", "phone", "address")
LAST_DIGITS = 6


class AlikeError(ValidationError):
    """A client is there already who is likely the same."""

    def __init__(self, client: Client) -> None:
        super().__init__(_("%(name)s is a client already.") % {"name": client.name})
        self.client = client


@transaction.atomic
def save_client(
    *, client: Client, by: User, seen: int = 0, key: UUID | None = None, but_not: str = ""
) -> Client:
    """Enter a client, or change one that nobody else changed since `seen`.

    A new one who is like another is refused with AlikeError, unless `but_not` is that one's number.
    """

    def refuse_alike() -> None:
        like = client_like(client)
        if like is not None and str(like.pk) != but_not:
            raise AlikeError(like)

    return enter_or_change(client, by, seen, key, refuse_alike)


def client_like(client: Client) -> Client | None:
    """A client of the same name who shares phone, e-mail or postal address."""
    mine = _marks(client)
    if not mine:
        return None
    same_words = with_words(Client.objects.present(), client.name, "name")
    name = folded(as_one_line(client.name))
    for other in same_words.exclude(pk=client.pk).order_by("pk"):
        if folded(as_one_line(other.name)) == name and mine & _marks(other):
            return other
    return None


def _marks(client: Client) -> set[tuple[str, str]]:
    """By what a client is known beside the name, however it is written."""
    digits = "".join(sign for sign in client.phone if sign.isdecimal())
    marks = {
        # The last digits: with and without the codes of country and place it is one number.
        ("phone", digits[-LAST_DIGITS:] if len(digits) >= LAST_DIGITS else ""),
        ("email", client.email.casefold()),
        ("address", "".join(sign for sign in folded(client.address) if sign.isalnum())),
    }
    return {mark for mark in marks if mark[1]}


@transaction.atomic
def save_property(*, home: Property, by: User, seen: int = 0, key: UUID | None = None) -> Property:
    """Enter a home, or change one that nobody else changed since `seen`."""
    return enter_or_change(home, by, seen, key)


@transaction.atomic
def save_contact(
    *, contact: Contact, by: User | None, seen: int = 0, key: UUID | None = None
) -> Contact:
    """Enter somebody beside the client, or change them if nobody else did since `seen`."""
    return enter_or_change(contact, by, seen, key)


@transaction.atomic
def remove_contact(*, contact: Contact, by: User) -> None:
    """Take somebody off; the history keeps who it was."""
    remove_row(row=contact, by=by)


@transaction.atomic
def merge_clients(*, keep: Client, gone: Client, by: User) -> Client:
    """Make two records of one client one: everything hangs on `keep`, `gone` is removed.

    What `keep` says stands; only what it leaves empty is taken from the other.
    """
    if keep.pk == gone.pk:
        raise ValidationError(_("These are one record already."))
    rows = Client.objects.select_for_update().order_by("pk").in_bulk([keep.pk, gone.pk])
    if len(rows) < 2:
        raise ValidationError(_("One of the two records is not there any more."))
    keep, gone = rows[keep.pk], rows[gone.pk]
    if keep.user and gone.user:
        if keep.user.is_active and gone.user.is_active:
            raise ValidationError(
                _("Both have a log-in. Whoever runs the practice must deactivate one first.")
            )
        if not keep.user.is_active:  # the one that is open goes on
            keep.user = None
    _join_wishes(gone, keep)
    _move_all(gone, keep, by)
    login = gone.user
    reason = _("merged into %(name)s (%(pk)s)") % {"name": keep.name[:60], "pk": keep.pk}
    gone._history_user, gone._change_reason = by, reason  # type: ignore[attr-defined]  # read by simple_history
    removed = gone.pk
    gone.delete()
    for name in FILLED_FROM_THE_OTHER:
        setattr(keep, name, getattr(keep, name) or getattr(gone, name))
    keep.user = keep.user or login
    reason = _("took over record %(pk)s of %(name)s") % {"pk": removed, "name": gone.name[:60]}
    save_row(row=keep, by=by, reason=reason)
    return keep


def _join_wishes(gone: Client, keep: Client) -> None:
    """What both ask for is one wish, since the first day."""
    for wish in DataRequest.objects.filter(client=gone, done_at=None):
        same = DataRequest.objects.filter(client=keep, kind=wish.kind, done_at=None)
        if same.update(asked_at=Least(models.F("asked_at"), wish.asked_at)):
            wish.delete()


def _move_all(gone: Client, keep: Client, by: User) -> None:
    """Point every row that belongs to `gone` to `keep`, with a history where it has one."""
    for relation in Client._meta.related_objects:
        if relation.one_to_one:
            continue
        field, rows = relation.field.name, relation.related_model._default_manager
        mine: models.QuerySet[Any] = rows.filter(**{field: gone})
        if not hasattr(relation.related_model, "history"):
            with unguarded():  # a letter's addressee is frozen; the two records are one person
                mine.update(**{field: keep})
            continue
        for row in mine:
            setattr(row, field, keep)
            save_row(row=row, by=by, fields=[field])
