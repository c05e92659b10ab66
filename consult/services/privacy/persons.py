"""A person's rows in every table, live and in the history, by what the apps' tables say."""

from collections.abc import Collection, Iterator
from datetime import datetime
from functools import cache
from importlib import import_module
from typing import Any

from django.conf import settings
from django.db import models

from consult.models import Client, Contact, Property, StoredFile, User
from consult.services.privacy.fates import Blank, Finder, Goes, Keys, Obstacle, Part, Subject, Table

CHUNK = 500


@cache
def parts() -> tuple[Part, ...]:
    """What each app says of people's data; the settings name the modules."""
    return tuple(import_module(name).PART for name in settings.PRIVACY_MODULES)


def tables() -> list[Table]:
    """Every table, each after those that it hangs on."""
    return [table for part in parts() for table in part.tables]


def history_of(model: type[models.Model]) -> Any:
    """The model of the history; None where there is none."""
    history = getattr(model, "history", None)
    return history.model if history is not None else None


# -- Who --------------------------------------------------------------------------------------


def subject_of_client(client: Client) -> Subject:
    """A client, the records merged into it, and the client's log-in."""
    clients = frozenset(_merged_records({client.pk}))
    # Somebody of the practice may be its client too: that log-in stays.
    users = User.objects.filter(client__in=clients, role=User.Role.CLIENT)
    return _subject(clients, frozenset(users.values_list("pk", flat=True)))


def subject_of_user(user: User) -> Subject:
    """Somebody who logs in, without the client that they may be."""
    return _subject(frozenset(), frozenset({user.pk}))


def _subject(clients: frozenset[int], users: frozenset[int]) -> Subject:
    """Their addresses are those of log-ins that they have used: nobody else confirmed theirs."""
    used = User.objects.filter(pk__in=users).exclude(password="").exclude(password__startswith="!")
    return Subject(clients, users, frozenset(used.values_list("email", flat=True)))


def _merged_records(known: set[int]) -> set[int]:
    """`known` and every record merged into one of them, as the history has it."""
    before: set[int] = set()
    while before != known:
        before = set(known)
        for model in (Property, Contact):
            mine = model._default_manager.filter(client__in=known).values("pk")
            past = history_of(model).objects.filter(id__in=mine)
            known |= set(past.exclude(client=None).values_list("client_id", flat=True))
        merged = models.Q(pk__in=[])
        for pk in before:
            merged |= models.Q(history_change_reason__endswith=f"({pk})")
        gone = history_of(Client).objects.filter(merged, history_type="-")
        known |= set(gone.values_list("id", flat=True))
        others = known - before
        alive = Client.objects.filter(pk__in=others).values_list("pk", flat=True)
        known -= set(alive)
    return known


# -- Their rows -------------------------------------------------------------------------------


def keys_of(subject: Subject) -> Keys:
    """The keys of a person's rows in every table, also of rows that only the history has."""
    keys: Keys = {}
    for table in tables():
        own: set[Any] = set()
        if subject.clients and table.client:
            own |= _found(table, table.client, subject, keys)
        if subject.users and table.user:
            own |= _found(table, table.user, subject, keys)
        keys[table.model] = own
    keys[StoredFile._meta.label] = _stored_files(keys)
    return keys


def _stored_files(keys: Keys) -> set[Any]:
    """The kept files of rows that go, or that are to name them no more."""
    files: set[Any] = set()
    for table in tables():
        for column in stored_columns(table.get_model()):
            if isinstance(table.fields[column], Goes | Blank):
                for chunk in chunks(keys[table.model]):
                    rows = table.get_model()._base_manager.filter(pk__in=chunk)
                    named = rows.exclude(**{column: None}).values_list(column, flat=True)
                    files.update(named)
    return files


def stored_columns(model: type[models.Model]) -> list[str]:
    """The fields of a model that name a kept file."""
    return [
        column.name for column in model._meta.concrete_fields if column.related_model is StoredFile
    ]


def _found(table: Table, way: str | Finder, subject: Subject, keys: Keys) -> set[Any]:
    if callable(way):
        return set(way(subject, keys))
    model = table.get_model()
    above: Any = model._meta.get_field(way).related_model
    rows_of_person: set[Any] = set()
    past: set[Any] = set()
    history = history_of(model)
    for chunk in chunks(keys[above._meta.label]):
        rows = model._base_manager.filter(**{f"{way}__in": chunk})
        rows_of_person.update(rows.values_list("pk", flat=True))
        if history is not None:
            rows = history.objects.filter(**{f"{way}__in": chunk})
            past.update(rows.values_list("id", flat=True))
    for chunk in chunks(past - rows_of_person):  # what is somebody else's now is theirs
        past -= (
            set(model._base_manager.filter(pk__in=chunk).values_list("pk", flat=True))
            - rows_of_person
        )
    return rows_of_person | past


def chunks(pks: Collection[Any]) -> Iterator[list[Any]]:
    """Keys in an order that repeats, as many as a statement takes."""
    ordered = sorted(pks)
    for start in range(0, len(ordered), CHUNK):
        yield ordered[start : start + CHUNK]


def rows_of(model: Any, pks: Collection[Any], *, by: str = "pk") -> Iterator[Any]:
    """The rows with these keys."""
    manager = model._base_manager
    if files := stored_columns(model):
        manager = manager.select_related(*files)
    for chunk in chunks(pks):
        yield from manager.filter(**{f"{by}__in": chunk}).order_by(by)


def obstacles_of(subject: Subject, keys: Keys, now: datetime) -> list[Obstacle]:
    """Why the person cannot be erased now."""
    obstacles = (part.obstacles(subject, keys, now) for part in parts() if part.obstacles)
    return [obstacle for some in obstacles for obstacle in some]
