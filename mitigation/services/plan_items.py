"""Items of a plan: brought by a file, put in by hand, changed and taken out."""

from collections.abc import Collection, Sequence
from datetime import date
from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Max
from django.utils.translation import gettext as _

from consult.models import User
from consult.services.changes import held, refuse_overtaken, remove_row, save_row
from mitigation.letters.remedy_words import remedy_name
from mitigation.models import Case, PlanItem, Remedy
from mitigation.models.money import in_cents
from mitigation.planning.suggestions import Suggestion, keys_of
from mitigation.services.brought_items import new_items
from mitigation.services.evidence import follow_evidence
from surveys.intake.remedies import RemedyKind, RemedyRow
from surveys.models import Appliance, Circuit, Room, Spot
from surveys.models.names import folded
from surveys.services.entries import known_names, sent_before, sent_otherwise, with_uid

GIVEN = frozenset(
    {"remedy", "room", "effect_db", "spread_db", "works_percent", "cost", "is_chosen", "note"}
)
LISTS = ("circuits", "appliances", "spots")


def kinds_of_catalogue() -> tuple[RemedyKind, ...]:
    """What a case folder may name as a remedy."""
    rows = Remedy.objects.values_list("key", "acts_on", "effect_db")
    return tuple(RemedyKind(key, acts_on, effect is not None) for key, acts_on, effect in rows)


def offered_kinds() -> dict[str, str]:
    """The kinds that a new case folder may choose from, each with its name."""
    rows = Remedy.objects.offered().values_list("key", "name")
    return {key: remedy_name(name) for key, name in rows}


@transaction.atomic
def store_items(*, case: Case, rows: Sequence[RemedyRow], by: User | None) -> list[PlanItem]:
    """Enter the rows of remedies.csv that the case does not have; the others stay as they are."""
    home = case.property_id
    kinds = {kind.key: kind for kind in Remedy.objects.all()}
    circuits = {row.folded: row for row in Circuit.objects.at(home).order_by("-pk")}
    appliances = {row.folded: row for row in Appliance.objects.at(home)}
    rooms = {row.folded: row for row in Room.objects.filter(property=home)}
    spots = {(row.room_id, row.folded): row for row in Spot.objects.filter(room__property=home)}
    stored = []
    for position, row in enumerate(new_items(case, rows), start=_next_position(case)):
        room = rooms[folded(row.room)] if row.room else None
        item = PlanItem(
            case=case,
            name=row.item,
            position=position,
            remedy=kinds[row.remedy],
            room=room,
            effect_db=row.effect_db,
            spread_db=row.spread_db,
            works_percent=row.works_percent,
            cost=in_cents(row.cost),
            is_chosen=row.chosen,
            state=row.state,
            done_on=row.done_on,
            done_by=row.done_by,
            note=row.note,
        )
        save_row(row=item, by=by)
        item.circuits.set([circuits[folded(name)] for name in row.circuits])
        item.appliances.set([appliances[folded(name)] for name in row.appliances])
        if room is not None:
            item.spots.set([spots[room.pk, folded(name)] for name in row.spots])
        stored.append(item)
    if stored:
        follow_evidence(cases=Case.objects.filter(pk=case.pk))
    return stored


def _next_position(case: Case) -> int:
    last: int | None = case.items.aggregate(last=Max("position"))["last"]
    return 1 if last is None else last + 1


@transaction.atomic
def add_item(*, case: Case, by: User, uid: UUID | None = None, **given: Any) -> PlanItem:
    """Put an item into what a plan may be made of, once under its key, by the next free name."""
    Case.objects.select_for_update().get(pk=case.pk)
    lists = {name: given.pop(name, ()) for name in LISTS}
    known_names(given, GIVEN)
    known = _sent_before(case, uid, given, lists)
    if known is not None:
        return known
    number = _next_position(case)
    taken = set(case.items.values_list("name", flat=True))
    while f"R{number}" in taken:
        number += 1
    item = PlanItem(case=case, name=f"R{number}", position=_next_position(case), **given)
    with_uid(item, uid)
    _refuse_unfit(item, lists)
    save_row(row=item, by=by)
    for name, rows in lists.items():
        getattr(item, name).set(rows)
    return item


def _sent_before(
    case: Case, uid: UUID | None, given: dict[str, Any], lists: dict[str, Any]
) -> PlanItem | None:
    """The item that came under this key before, with just this content."""
    row = sent_before(PlanItem, uid, {"case": case, **given})
    if row is not None and any(
        {chosen.pk for chosen in rows} != {kept.pk for kept in getattr(row, name).all()}
        for name, rows in lists.items()
    ):
        raise sent_otherwise()
    return row


@transaction.atomic
def put_in(*, case: Case, by: User, suggestions: Sequence[Suggestion]) -> list[PlanItem]:
    """Make items of what was offered, each once: what the case has by now is passed over."""
    Case.objects.select_for_update().get(pk=case.pk)
    item_keys = [key for item in case.items.all().whole() for key in keys_of(item)]
    return [
        add_item(
            case=case,
            by=by,
            remedy=suggestion.remedy,
            circuits=[suggestion.circuit] if suggestion.circuit else [],
            appliances=[suggestion.appliance] if suggestion.appliance else [],
            room=suggestion.room,
            cost=suggestion.remedy.price,
        )
        for suggestion in suggestions
        if suggestion.key not in item_keys
    ]


@transaction.atomic
def change_item(*, item: PlanItem, by: User, version: int | None = None, **given: Any) -> PlanItem:
    """Put right what an item says, while nobody decided on it."""
    row = held(item)
    _refuse_decided(row)
    lists = {name: given.pop(name) for name in LISTS if name in given}
    known_names(given, GIVEN)
    for name, value in given.items():
        setattr(row, name, value)
    refuse_overtaken(row, version)
    kept = {name: lists.get(name, getattr(row, name).all()) for name in LISTS}
    _refuse_unfit(row, kept)
    save_row(row=row, by=by)
    for name, rows in lists.items():
        getattr(row, name).set(rows)
    return row


@transaction.atomic
def finish_item(
    *, item: PlanItem, by: User | None, state: str, done_on: date | None = None, done_by: str = ""
) -> PlanItem:
    """Say what became of an item that was accepted: done, done differently or not possible.

    What was said before may be put right.
    """
    row = held(item)
    settled = PlanItem.SETTLED
    if row.state not in (PlanItem.State.ACCEPTED, *settled) or state not in settled:
        raise ValidationError(_("Only an accepted item can be carried out."))
    row.state, row.done_on, row.done_by = state, done_on, done_by
    save_row(row=row, by=by, fields=["state", "done_on", "done_by"])
    follow_evidence(cases=Case.objects.filter(pk=row.case_id))
    return row


@transaction.atomic
def remove_item(*, item: PlanItem, by: User) -> None:
    """Take an item out; its history stays."""
    row = held(item)
    _refuse_decided(row)
    remove_row(row=row, by=by)


@transaction.atomic
def choose_items(
    *, case: Case, by: User, names: Collection[str], shown: Collection[str] | None = None
) -> None:
    """Have just these items in the plan; where `shown` is given the others stay as they are."""
    Case.objects.select_for_update().get(pk=case.pk)
    for item in case.items.select_for_update(of=("self",)).order_by("pk"):
        if shown is not None and item.name not in shown:
            continue
        chosen = item.name in names
        if item.is_chosen != chosen:
            item.is_chosen = chosen
            save_row(row=item, by=by, fields=["is_chosen"])


def _refuse_decided(item: PlanItem) -> None:
    if item.state != PlanItem.State.PROPOSED:
        raise ValidationError(_("Item %(item)s is %(state)s. It stays as it is.") % {
            "item": item.name, "state": item.get_state_display()
        })  # fmt: skip


def _refuse_unfit(item: PlanItem, lists: dict[str, Any]) -> None:
    """What a kind acts on is named, and belongs to the home of the case."""
    acts_on = item.remedy.acts_on
    if acts_on == Remedy.ActsOn.CIRCUITS and not lists["circuits"]:
        raise ValidationError({"circuits": _("This kind acts on circuits: name at least one.")})
    if acts_on == Remedy.ActsOn.APPLIANCES and not lists["appliances"]:
        raise ValidationError({"appliances": _("This kind acts on appliances: name at least one.")})
    if item.remedy.effect_db is None and item.effect_db is None:
        raise ValidationError(
            {"effect_db": _("The catalogue has no effect for this kind: give it here.")}
        )
    if any(spot.room_id != item.room_id for spot in lists["spots"]):
        raise ValidationError({"spots": _("Choose spots of the room that is chosen.")})
    home = item.case.property_id
    if item.room is not None and item.room.property_id != home:
        raise ValidationError({"room": _("This room is of another home.")})
