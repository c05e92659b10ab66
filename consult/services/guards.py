"""What is never changed or deleted, forbidden by the database itself; and the one way past it.

An app says what it guards with `guard`, when it is loaded. Every table of a history is guarded
without being named. The triggers are made anew after each `migrate`.
"""

from collections.abc import Generator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from django.apps import apps
from django.db import DEFAULT_DB_ALIAS, connections, models, transaction
from simple_history.models import HistoricalChanges

from consult.models import AccessEvent, Erasure, ErasureWindow, Letter
from consult.services import triggers
from consult.services.triggers import Trigger


@dataclass(frozen=True)
class Guard:
    """Rows of a model that no statement may change or delete."""

    model: type[models.Model]
    message: str
    name: str = ""  # tells a second guard of the same model from the first
    rows: str = ""  # SQL on OLD: which rows; empty means all
    fields: tuple[str, ...] = ()  # which fields are frozen; empty means all
    verbs: tuple[str, ...] = ("UPDATE", "DELETE")

    def triggers(self) -> list[Trigger]:
        table = self.model._meta.db_table
        columns = tuple(str(self.model._meta.get_field(name).column) for name in self.fields)  # type: ignore[union-attr]  # no relation ends here
        # TRUNCATE names no rows, so it is refused wherever a DELETE may be.
        verbs = (*self.verbs, "TRUNCATE") if "DELETE" in self.verbs else self.verbs
        return [
            Trigger(
                name="_".join(filter(None, ("guard", table, self.name, verb.lower()))),
                table=table,
                verb=verb,
                message=self.message,
                rows="" if verb == "TRUNCATE" else self.rows,
                columns=columns if verb == "UPDATE" else (),
            )
            for verb in verbs
        ]


_declared: list[Guard] = []


def guard(*guards: Guard) -> None:
    """Have these rows guarded from the next `migrate` on."""
    _declared.extend(guards)


def guards() -> list[Guard]:
    """All guards: the declared ones, and one for the history of every model that has one."""
    histories = [
        Guard(model, "A history is only ever added to.")
        for model in apps.get_models()
        if issubclass(model, HistoricalChanges)
    ]
    return [*_declared, *histories]


@contextmanager
def unguarded() -> Generator[None, None, None]:
    """Let this transaction past the guards: to erase a person's data, or to merge two clients.

    It stands inside the caller's transaction, as short as can be. An error in it takes back what
    was done in it. Other connections are refused as ever meanwhile.
    """
    if not transaction.get_connection().in_atomic_block:
        raise RuntimeError("the guards open only inside a transaction")
    with transaction.atomic():
        window = ErasureWindow.objects.create()
        yield
        window.delete()


def install_guards(*, using: str = DEFAULT_DB_ALIAS) -> None:
    """Make the triggers of all guards anew, on the tables that there are."""
    connection = connections[using]
    with transaction.atomic(using=using):
        tables = set(connection.introspection.table_names())
        wanted: Sequence[Trigger] = [trigger for each in guards() for trigger in each.triggers()]
        if ErasureWindow._meta.db_table not in tables:
            wanted = []
        triggers.install(connection, [trigger for trigger in wanted if trigger.table in tables])


def remove_guards(*, using: str = DEFAULT_DB_ALIAS) -> None:
    """Take all guards off."""
    with transaction.atomic(using=using):
        triggers.remove(connections[using])


def before_migrate(*, using: str, plan: Sequence[Any] = (), **_arguments: Any) -> None:
    """Take the guards off: SQLite loses them when it rebuilds a table, PostgreSQL refuses it."""
    if plan:
        remove_guards(using=using)


def after_migrate(*, using: str, **_arguments: Any) -> None:
    install_guards(using=using)


guard(
    Guard(
        Erasure,
        "The proof of an erasure stays as it is.",
        fields=("uid", "at", "clients", "users", "reason", "counted", "n_files"),
    ),
    Guard(AccessEvent, "The log of log-ins and refusals is only ever added to."),
    Guard(
        Letter,
        "An issued letter is never changed or deleted.",
        fields=(
            "number", "kind", "case_reference", "client", "property", "firm", "content",
            "content_sha256", "check_code", "rules", "language", "paper", "template_version",
            "corrects", "issued_by", "issued_at", "erased_at", "erased_by",  # by an erasure alone
        ),
    ),
    Guard(
        Letter,
        "The file of a ready letter is never another one.",
        name="file",
        rows="OLD.sha256 <> ''",
        fields=("stored", "sha256", "rendered_at", "rendered_with"),
        verbs=("UPDATE",),
    ),
)  # fmt: skip
