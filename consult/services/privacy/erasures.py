"""Erasing a person: seen beforehand, done in one transaction, the files right after it.

Files can't be taken back, so they go by a job once the transaction has committed. The proof names
them until they are gone, and the job is tried until they are.
"""

from collections.abc import Collection, Iterable
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.apps import apps
from django.core.exceptions import ValidationError
from django.db import connection, models, transaction
from django.db.models import F, Value
from django.db.models.functions import Cast, Concat
from django.utils import timezone
from django.utils.translation import gettext as _

from consult.models import Client, Erasure, Job, Letter, User
from consult.models.clients import ERASED
from consult.services.files import drop_file
from consult.services.guards import unguarded
from consult.services.jobs import Run, enqueue, revive
from consult.services.privacy import ledger
from consult.services.privacy.fates import Blank, Keys, Obstacle, Subject, Table, Words
from consult.services.privacy.persons import (
    chunks,
    history_of,
    keys_of,
    obstacles_of,
    rows_of,
    subject_of_client,
    subject_of_user,
    tables,
)

ERASE_FILES = "erase-files"


@dataclass(frozen=True)
class Line:
    """What becomes of the rows of one table."""

    table: Table
    rows: int
    past: int

    @property
    def reasons(self) -> list[Words]:
        """Why some of it is kept, each reason once."""
        return list(dict.fromkeys(fate.why for fate in self.table.keeps.values()))


@dataclass(frozen=True)
class Plan:
    """All that an erasure would do; looking at it changes nothing."""

    subject: Subject
    keys: Keys
    lines: list[Line]
    files: list[str]
    obstacles: list[Obstacle] = field(default_factory=list)

    @property
    def is_refused(self) -> bool:
        """Whether an obstacle remains that a reason cannot override."""
        return any(not obstacle.may_override for obstacle in self.obstacles)

    @property
    def needs_reason(self) -> bool:
        return any(obstacle.may_override for obstacle in self.obstacles)


def subject_of(person: Client | User) -> Subject:
    """Whose data, for a client's record or for a log-in."""
    return subject_of_client(person) if isinstance(person, Client) else subject_of_user(person)


def plan_erasure(*, person: Client | User, now: datetime) -> Plan:
    """What an erasure of `person` would do."""
    subject = subject_of(person)
    keys = keys_of(subject)
    lines = [line for table in tables() if (line := _line(table, keys)) is not None]
    obstacles = [*_own_obstacles(person), *obstacles_of(subject, keys, now)]
    return Plan(subject, keys, lines, _files(keys), obstacles)


def _line(table: Table, keys: Keys) -> Line | None:
    pks = keys[table.model]
    if not pks or not (table.deletes or table.blanks):
        return None
    model = table.get_model()
    history = history_of(model)
    rows = sum(model._base_manager.filter(pk__in=chunk).count() for chunk in chunks(pks))
    past = 0
    if history is not None:
        past = sum(history.objects.filter(id__in=chunk).count() for chunk in chunks(pks))
    return Line(table, rows, past)


def _files(keys: Keys) -> list[str]:
    """The keys of the kept files of these rows."""
    files: set[str] = set()
    for table in tables():
        if table.file is not None:
            for row in rows_of(table.get_model(), keys[table.model]):
                files |= {table.file(row), *(table.leftovers(row) if table.leftovers else ())}
    return sorted(files - {""})


def _own_obstacles(person: Client | User) -> Iterable[Obstacle]:
    if _is_erased(person):
        yield Obstacle(_("Only a number is left of this person: they were erased."))
    if isinstance(person, Client) or person.role != User.Role.CLIENT:
        return
    if Client.objects.filter(user=person).exists():
        yield Obstacle(_("This is a client's log-in. Erase the client, it goes along."))


def erase_person(
    *, person: Client | User, by: User | None, now: datetime, reason: str = ""
) -> Erasure:
    """Erase all data of a client or of somebody who logs in; only numbers stay."""
    if by is not None and person == by:
        raise ValidationError(_("You cannot erase yourself."))
    with transaction.atomic():
        _lock(person)
        plan = plan_erasure(person=person, now=now)
        _refuse(plan, person, reason)
        return _erase(plan, by, now, reason)


def _lock(person: Client | User) -> None:
    """Lock the person's row: wait for another erasure and for a file that is being made."""
    model = type(person)
    if not model._base_manager.select_for_update().filter(pk=person.pk).exists():
        raise ValidationError(_("This record is not there any more."))
    person.refresh_from_db()
    letters = keys_of(subject_of(person))["consult.Letter"]
    list(Letter.objects.select_for_update().filter(pk__in=letters).order_by("pk").values("pk"))


def _refuse(plan: Plan, person: Client | User, reason: str) -> None:
    reason = reason.strip()
    stops = [
        str(obstacle.words) for obstacle in plan.obstacles if not (obstacle.may_override and reason)
    ]
    if stops:
        raise ValidationError(stops)
    words = reason.casefold()
    if any(word and word.casefold() in words for word in (person.name, person.email)):
        raise ValidationError(_("The reason stays for good, so it must not name the person."))


def _erase(plan: Plan, by: User | None, now: datetime, reason: str) -> Erasure:
    erasure = Erasure(
        at=now,
        by=by,
        clients=_pairs(Client, "created_at", plan.subject.clients),
        users=_pairs(User, "joined_at", plan.subject.users),
        reason=reason.strip()[:200],
        counted={line.table.model: [line.rows, line.past] for line in plan.lines},
        files_left=plan.files,
        n_files=len(plan.files),
    )
    # After a restore nobody may be left who did it.
    erasure.full_clean(exclude=["by", "clients", "users", "counted", "files_left"])
    erasure.save(force_insert=True)
    _walk(plan.keys, by, now)
    enqueue(kind=ERASE_FILES, key=f"{ERASE_FILES}:{erasure.uid}", arguments={"erasure": erasure.pk})
    return erasure


def _pairs(model: Any, since: str, pks: Collection[int]) -> list[list[Any]]:
    """Each number with the time of its entry; of a merged record only the history is left."""
    entered = dict(history_of(model).objects.filter(id__in=pks).values_list("id", since))
    entered |= dict(model.objects.filter(pk__in=pks).values_list("pk", since))
    return [[pk, entered[pk].isoformat() if pk in entered else ""] for pk in sorted(pks)]


def _walk(keys: Keys, by: User | None, now: datetime) -> None:
    """Blank what stays, then delete what goes, what hangs on other rows first."""
    with unguarded():
        for table in tables():
            for chunk in chunks(keys[table.model]):
                _blank(table, chunk)
        for chunk in chunks(keys["consult.Letter"]):
            Letter.objects.filter(pk__in=chunk).update(erased_at=now, erased_by=by)
        for table in reversed(tables()):
            if table.deletes:
                _delete(table, keys[table.model])


def _blank(table: Table, chunk: list[Any]) -> None:
    model = table.get_model()
    history = history_of(model)
    always = {name: fate for name, fate in table.blanks.items() if not fate.if_filled}
    if always:
        _update(model._base_manager.filter(pk__in=chunk), always, "pk")
    past = {name: fate for name, fate in always.items() if fate.past and name != "password"}
    if history is not None and table.blanks:
        known = {column.name for column in history._meta.concrete_fields}
        values = {name: fate for name, fate in past.items() if name in known}
        rows = history.objects.filter(id__in=chunk)
        _update(rows, values | {"history_change_reason": Blank(None)}, "id")
    for name, fate in table.blanks.items():
        if fate.if_filled:
            for rows in filter(None, (model._base_manager, history and history.objects)):
                key = "pk" if rows is model._base_manager else "id"
                filled = rows.filter(**{f"{key}__in": chunk}).exclude(**{name: ""})
                _update(filled, {name: fate}, key)


def _update(rows: Any, values: dict[str, Blank], key: str) -> None:
    rows.update(**{name: _value(fate.to, key) for name, fate in values.items()})


def _value(to: Any, key: str) -> Any:
    """A neutral value; `{pk}` in it becomes the number of the row."""
    if not isinstance(to, str) or "{pk}" not in to:
        return to
    before, after = to.split("{pk}")
    number = Cast(F(key), models.CharField())
    return Concat(Value(before), number, Value(after), output_field=models.CharField())


def _delete(table: Table, pks: Collection[Any]) -> None:
    model = table.get_model()
    history = history_of(model)
    for chunk in chunks(pks):
        model._base_manager.filter(pk__in=chunk).delete()
        if history is not None:
            history.objects.filter(id__in=chunk).delete()


# -- Files, and again -------------------------------------------------------------------------


def erase_files(arguments: dict[str, Any], run: Run) -> None:
    """The job after an erasure: write the ledger, delete its files, however often it takes."""
    erasure = Erasure.objects.get(pk=arguments["erasure"])
    ledger.note(erasure)
    named = _named_again(erasure.files_left)
    for key in erasure.files_left:
        if key not in named:
            drop_file(key=key)
    Erasure.objects.filter(pk=erasure.pk, files_gone_at=None).update(
        files_left=[], files_gone_at=timezone.now()
    )
    empty_the_log_of_writes()


def _named_again(keys: Collection[str]) -> set[str]:
    """The keys that a row names again, because the same bytes were uploaded anew."""
    names: set[str] = set()
    for model in apps.get_models():
        for column in model._meta.concrete_fields:
            for chunk in chunks(keys) if isinstance(column, models.FileField) else ():
                rows = model._base_manager.filter(**{f"{column.name}__in": chunk})
                names.update(rows.values_list(column.name, flat=True))
    return names


def empty_the_log_of_writes() -> None:
    """SQLite keeps old pages in a file of its own until that is emptied; a reader delays it."""
    if connection.vendor == "sqlite" and not connection.in_atomic_block:
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")


def resume_files(*, now: datetime) -> None:
    """Try again to delete files that a job had to give up; the proof still names them."""
    for erasure in Erasure.objects.filter(files_gone_at=None):
        job = Job.objects.filter(key=f"{ERASE_FILES}:{erasure.uid}").first()
        if job is not None:
            revive(job=job, now=now)


def repeat_erasure(*, entry: dict[str, Any], now: datetime) -> Erasure | None:
    """Do an erasure of the ledger again, on data that an older backup brought back.

    None when there is nothing to erase: the rows are gone, or their numbers belong to others.
    """
    with transaction.atomic():
        known = Erasure.objects.filter(uid=entry["uid"]).first()
        people: list[Client | User] = [
            *_still_there(Client, "created_at", entry["clients"]),
            *_still_there(User, "joined_at", entry["users"]),
        ]
        by = known.by if known else User.objects.filter(pk=entry["by"]).first()
        done = None
        for person in people:
            person.refresh_from_db()  # a client's log-in went with the client
            if not _is_erased(person):
                done = _erase(plan_erasure(person=person, now=now), by, now, entry["reason"])
                Erasure.objects.filter(pk=done.pk).update(repeated_at=now)
    return done


def _still_there(model: Any, since: str, pairs: list[list[Any]]) -> list[Any]:
    """The rows that were erased, without later rows that got the same number."""
    rows = model.objects.filter(pk__in=[pk for pk, _since in pairs]).order_by("pk")
    entered = dict(map(tuple, pairs))
    return [row for row in rows if entered[row.pk] == getattr(row, since).isoformat()]


def _is_erased(person: Client | User) -> bool:
    return person.name == f"{ERASED}{person.pk}]"
