"""Words for saying what each field holds of a person, and what becomes of it at an erasure.

Each app fills a `PART` with one `Table` per model in its `privacy` module; the settings name these
modules. A test fails on a field that no table mentions.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.apps import apps
from django.db import models
from django.utils.functional import Promise

Words = str | Promise
Keys = dict[str, set[Any]]


@dataclass(frozen=True)
class Plain:
    """Says nothing of a person once the rest is gone."""


@dataclass(frozen=True)
class Goes:
    """Goes with its row, and the row's history."""


@dataclass(frozen=True)
class Blank:
    """Put to a neutral value, in the row and its history; `{pk}` in it is the number of the row."""

    to: Any = ""
    if_filled: bool = False  # an empty one stays empty, because empty means something else
    past: bool = True  # False: the history keeps what was true then


@dataclass(frozen=True)
class Keep:
    """Stays, and why."""

    why: Words


Fate = Plain | Goes | Blank | Keep
PLAIN, GOES = Plain(), Goes()


@dataclass(frozen=True)
class Subject:
    """Whose data: numbers of clients (merged records too) and of log-ins, and their e-mails."""

    clients: frozenset[int] = frozenset()
    users: frozenset[int] = frozenset()
    emails: frozenset[str] = frozenset()


# Finds the keys of a person's rows; it may look at the keys of the tables before its own.
Finder = Callable[[Subject, Keys], Iterable[Any]]


@dataclass(frozen=True)
class Table:
    """What the rows of a model hold of people.

    `client` and `user` say whose a row is: the foreign key to the table above it, or a finder.
    """

    model: str
    label: Words
    fields: Mapping[str, Fate]
    client: str | Finder | None = None
    user: str | Finder | None = None
    # What a row that stays is without, in words for a page.
    without: Words = ""
    # What a copy for the person leaves out, and why.
    withheld: Mapping[str, Words] = field(default_factory=dict)
    # What a copy shows of a field in place of all of it.
    shortened: Mapping[str, Callable[[Any], Any]] = field(default_factory=dict)
    # Why a copy for the person leaves out the whole table.
    not_copied: Words = ""
    # The kept file of a row: its key, and the name under which a copy holds it.
    file: Callable[[Any], str] | None = None
    file_name: Callable[[Any], str] | None = None
    # Further keys under which a killed job may have left a file of the row.
    leftovers: Callable[[Any], Iterable[str]] | None = None

    @property
    def deletes(self) -> bool:
        """Whether whole rows go."""
        return any(isinstance(fate, Goes) for fate in self.fields.values())

    @property
    def blanks(self) -> dict[str, Blank]:
        return {name: fate for name, fate in self.fields.items() if isinstance(fate, Blank)}

    @property
    def keeps(self) -> dict[str, Keep]:
        return {name: fate for name, fate in self.fields.items() if isinstance(fate, Keep)}

    def get_model(self) -> type[models.Model]:
        return apps.get_model(self.model)


@dataclass(frozen=True)
class Clearing:
    """Rows that go by themselves when their time is over: `days` after `date`."""

    kind: str
    label: Words
    model: str
    date: str
    days: int | str  # a number, or the name of a field of Retention
    only: models.Q = field(default_factory=models.Q)
    blank: Mapping[str, Any] = field(default_factory=dict)  # empty: the row is deleted
    file: str = ""


@dataclass(frozen=True)
class Obstacle:
    """Why somebody cannot be erased now; `may_override` with a reason."""

    words: Words
    may_override: bool = False


@dataclass(frozen=True)
class Overdue:
    """A client whose last case is past its time; somebody has to say that they go."""

    client: Any
    cases: int
    since: Any  # the day from which they might go


Obstacles = Callable[[Subject, Keys, Any], Iterable[Obstacle]]


@dataclass(frozen=True)
class Part:
    """What one app says about people's data."""

    tables: Sequence[Table]
    clearings: Sequence[Clearing] = ()
    obstacles: Obstacles | None = None
    overdue: Callable[[Any], Sequence[Overdue]] | None = None


def fields(*, plain: str = "", goes: str = "", **other: Fate) -> dict[str, Fate]:
    """Each field with what becomes of it; plain and going ones are named in one line."""
    return dict.fromkeys(plain.split(), PLAIN) | dict.fromkeys(goes.split(), GOES) | other


def stored_key(row: Any) -> str:
    """The key of a row's stored file; empty where it has none."""
    return row.stored.key if row.stored_id else ""


def nobodys(model: str, label: Words, plain: str) -> Table:
    """A table that holds nothing of a person."""
    return Table(model, label, fields(plain=plain))
