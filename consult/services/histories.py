"""What the kept histories tell a reader: who changed what and when, before and after, in words."""

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from copy import copy
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from typing import Any

from django.db import models
from django.utils import formats, timezone
from django.utils.translation import gettext as _

from consult.models import User
from consult.templatetags.figures import given

Row = Mapping[str, Any]
NOTHING = "–"
# What a person did not enter, or what is told by the change itself.
UNTOLD = frozenset({"id", "created_at", "assigned_at", "stage_since", "opened_at", "position"})


@dataclass(frozen=True)
class Field:
    """One thing that changed."""

    name: str
    before: str
    after: str


@dataclass(frozen=True)
class Change:
    """One act of one person, on one row or on several of a kind."""

    at: datetime
    who: str
    what: str
    kind: str
    is_new: bool = False  # a row that was entered
    was_there: bool = False
    reason: str = ""
    fields: list[Field] = field(default_factory=list)
    url: str = ""
    is_data: bool = False  # something entered, of which there may be hundreds


class Names:
    """What the keys in a history stand for, looked up once; people are always known."""

    def __init__(self, known: Mapping[type[models.Model], Mapping[Any, str]] | None = None) -> None:
        self.people: dict[Any, str] = dict(User.objects.values_list("pk", "name"))
        self.known = {User: self.people} | dict(known or {})

    def knowing(self, more: Mapping[type[models.Model], Mapping[Any, str]]) -> "Names":
        """A copy that also knows `more`."""
        names = copy(self)
        names.known = self.known | dict(more)
        return names

    def who(self, key: Any) -> str:
        return self.people.get(key, _("the system"))

    def words_of(self, column: "models.Field[Any, Any]", value: Any) -> str:
        """A value in words."""
        if value is None or value == "":
            return NOTHING
        if column.related_model is not None:
            return self.known[column.related_model].get(value, f"({value})")
        if column.choices:
            return str(dict(column.flatchoices).get(value, value))
        return plain_words(value)

    def teller(self, model: type[models.Model], untold: Collection[str] = UNTOLD) -> "Teller":
        """Says of each row of a history what stands in its fields, by the name of each."""
        columns = [
            column
            for column in model._meta.concrete_fields
            if column.name not in untold
            and (column.related_model is None or column.related_model in self.known)
        ]

        def tell(row: Row) -> dict[str, str]:
            return {
                str(column.verbose_name): self.words_of(column, row[column.attname])
                for column in columns
                if column.attname in row
            }

        return tell


Teller = Callable[[Row], dict[str, str]]


def plain_words(value: Any) -> str:
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    if isinstance(value, datetime):
        return formats.date_format(timezone.localtime(value), "DATETIME_FORMAT")
    if isinstance(value, date):
        return formats.date_format(value, "DATE_FORMAT")
    return given(value) if isinstance(value, float) else str(value)


def rows_of(model: type[models.Model], **wanted: Any) -> Iterable[Row]:
    """The history of some rows, in its order: one query."""
    history: Any = model.history  # type: ignore[attr-defined]  # set by simple_history
    rows: Iterable[Row] = history.filter(**wanted).order_by("history_date", "history_id").values()
    return rows


def changes(
    rows: Iterable[Row], *, tell: Teller, names: Names, title: Callable[[Row], str]
) -> Iterator[Change]:
    """Each row of a history against the one before it; what changed nothing told is left out."""
    return (change for _row, change in changed_rows(rows, tell=tell, names=names, title=title))


def as_data(changes: Iterable[Change], *, new_alone: bool = False) -> Iterator[Change]:
    """The same, marked as data: all of them, or new rows alone."""
    for change in changes:
        yield replace(change, is_data=change.is_new or not new_alone)


def latest_first(changes: Iterable[Change]) -> list[Change]:
    return sorted(changes, key=lambda change: change.at, reverse=True)


def changed_rows(
    rows: Iterable[Row], *, tell: Teller, names: Names, title: Callable[[Row], str]
) -> Iterator[tuple[Row, Change]]:
    """Like `changes`, yielding (row, change)."""
    kinds = {"+": _("entered"), "~": _("changed"), "-": _("removed")}
    last: dict[int, dict[str, str]] = {}
    for row in rows:
        before, now = last.get(row["id"], {}), tell(row)
        last[row["id"]] = now
        kind = row["history_type"]
        changed = [
            Field(label, before.get(label, NOTHING), words)
            for label, words in now.items()
            if kind != "-" and before.get(label, NOTHING) != words
        ]
        if kind == "~" and not changed:
            continue
        yield (
            row,
            Change(
                at=row["history_date"],
                who=names.who(row["history_user_id"]),
                what=title(row),
                kind=kinds[kind],
                is_new=kind == "+",
                was_there=kind == "~",
                reason=row["history_change_reason"] or "",
                fields=changed,
            ),
        )
