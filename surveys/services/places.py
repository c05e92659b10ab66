"""Rooms and spots: added while measuring, renamed whenever they got a better name.

A room or spot under another name is the same one: pages and exports give the name of today, a
letter the name of the day on which it was issued.
"""

from collections.abc import Sequence
from copy import copy
from typing import Any, TypeVar
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from consult.models import Property, User
from consult.services.changes import held, refuse_overtaken
from surveys.models import Room, Spot, Visit
from surveys.models.names import folded
from surveys.services.entries import locked, save_row, sent_before, sent_otherwise, with_uid

Place = TypeVar("Place", Room, Spot)


@transaction.atomic
def add_spot(
    *,
    visit: Visit,
    by: User,
    room: str,
    spot: str,
    use: str = Spot.Use.OTHER,
    uid: UUID | None = None,
    room_uid: UUID | None = None,
) -> Spot:
    """A place to measure; a room or spot of that name is taken as it is, however it is spelt."""
    sent = sent_before(Spot, uid, {"name": _tidy(spot), "use": use})
    if sent is not None:
        if sent.room.property_id != visit.property_id or not _ever_named(sent.room, room):
            raise sent_otherwise()
        return sent
    open_visit = locked(visit)
    Property.objects.select_for_update().get(pk=open_visit.property_id)  # two visits, one home
    the_room = Room.objects.filter(property=open_visit.property_id).named(room).first()
    if the_room is None:
        the_room = Room(property=open_visit.property, name=_tidy(room))
        save_row(with_uid(the_room, room_uid), by)
    known = the_room.spots.named(spot).first()
    if known is not None:
        return known
    row = with_uid(Spot(room=the_room, name=_tidy(spot), use=use), uid)
    save_row(row, by)
    return row


@transaction.atomic
def add_spots(
    *, visit: Visit, by: User, room: str, spots: Sequence[str], use: str = Spot.Use.OTHER
) -> list[Spot]:
    """Several places of one room, all of them or none."""
    return [add_spot(visit=visit, by=by, room=room, spot=name, use=use) for name in spots]


def _ever_named(row: Room, name: str) -> bool:
    """Whether a room has this name, or had it."""
    history: Any = row.history
    names = {row.name, *history.values_list("name", flat=True)}
    return folded(name) in map(folded, names)


@transaction.atomic
def rename_room(*, room: Room, by: User, name: str, version: int) -> Room:
    """Another name for the same room, with all that was measured in it."""
    row = held(room)
    if Room.objects.filter(property=row.property_id).named(name).exclude(pk=row.pk).exists():
        raise ValidationError({"name": _("This home has a room of that name already.")})
    return _renamed(row, by, version, name=_tidy(name))


@transaction.atomic
def change_spot(*, spot: Spot, by: User, name: str, use: str, version: int) -> Spot:
    """Another name or use for the same spot."""
    row = held(spot)
    if Spot.objects.filter(room=row.room_id).named(name).exclude(pk=row.pk).exists():
        raise ValidationError({"name": _("This room has a spot of that name already.")})
    return _renamed(row, by, version, name=_tidy(name), use=use)


def _tidy(name: str) -> str:
    return " ".join(name.split())


def _renamed(row: Place, by: User, version: int, **given: str) -> Place:
    if all(getattr(row, name) == value for name, value in given.items()):
        return row
    before = copy(row)
    for name, value in given.items():
        setattr(row, name, value)
    refuse_overtaken(row, version)
    _remember_start(before)
    save_row(row, by)
    return row


def _remember_start(row: Room | Spot) -> None:
    """The name before the first change: a place that came in a file begins without a history."""
    history: Any = row.history
    if not history.exists():
        history.bulk_history_create([row], default_change_reason=_("as it came in"))
