"""The SQL of the guards: a trigger that refuses a statement, on SQLite and on PostgreSQL.

Every trigger, and on PostgreSQL every function behind one, has a name that begins with `guard_`.
Both databases report a refused statement as a broken constraint (Django: IntegrityError).
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from django.db.backends.base.base import BaseDatabaseWrapper

WINDOW = 'EXISTS (SELECT 1 FROM "consult_erasurewindow")'


@dataclass(frozen=True)
class Trigger:
    """One kind of statement refused on one table."""

    name: str
    table: str
    verb: str  # UPDATE, DELETE or, on PostgreSQL, TRUNCATE
    message: str  # without quotes
    rows: str = ""  # which rows are guarded, as a condition on OLD; empty means all
    columns: tuple[str, ...] = ()  # an UPDATE is refused when one of these changes; empty means any


def install(connection: BaseDatabaseWrapper, triggers: Sequence[Trigger]) -> None:
    """Put exactly these triggers in place of the ones that are there."""
    remove(connection)
    written = _on_postgresql if connection.vendor == "postgresql" else _on_sqlite
    _execute(connection, [statement for trigger in triggers for statement in written(trigger)])


def remove(connection: BaseDatabaseWrapper) -> None:
    """Take every guard off: for migrations, which rebuild tables."""
    gone = "DROP FUNCTION {} CASCADE" if connection.vendor == "postgresql" else "DROP TRIGGER {}"
    names = _found(connection, functions=True)
    _execute(connection, [gone.format(f'"{name}"') for name in names])


def _execute(connection: BaseDatabaseWrapper, statements: Sequence[str]) -> None:
    """On PostgreSQL all in one message; SQLite takes them one by one."""
    joined = ["; ".join(statements)] if connection.vendor == "postgresql" else statements
    with connection.cursor() as cursor:
        for statement in filter(None, joined):
            cursor.execute(statement)


def installed(connection: BaseDatabaseWrapper) -> set[str]:
    """The names of the triggers that the database has, enabled and on a table."""
    return _found(connection, functions=False)


def _found(connection: BaseDatabaseWrapper, *, functions: bool) -> set[str]:
    if connection.vendor != "postgresql":
        query = "SELECT name FROM sqlite_master WHERE type = 'trigger' AND name GLOB 'guard_*'"
    elif functions:
        query = (
            "SELECT proname FROM pg_proc WHERE starts_with(proname, 'guard_')"
            " AND pronamespace = current_schema()::regnamespace"
        )
    else:
        query = (
            "SELECT tgname FROM pg_trigger JOIN pg_class ON pg_class.oid = tgrelid"
            " WHERE starts_with(tgname, 'guard_') AND tgenabled IN ('O', 'A')"
            " AND relnamespace = current_schema()::regnamespace"
        )
    with connection.cursor() as cursor:
        cursor.execute(query)
        return {name for (name,) in cursor.fetchall()}


def _refused(trigger: Trigger, differs: str) -> str:
    """When the statement is refused: a guarded row, a frozen column that changes, no window."""
    conditions = [f"NOT {WINDOW}"]
    if trigger.rows:
        conditions.append(f"({trigger.rows})")
    if trigger.columns:
        changes = (f'OLD."{name}" {differs} NEW."{name}"' for name in trigger.columns)
        conditions.append(f"({' OR '.join(changes)})")
    return " AND ".join(conditions)


def _on_sqlite(trigger: Trigger) -> Iterator[str]:
    if trigger.verb == "TRUNCATE":
        return  # SQLite has no such statement
    yield (
        f'CREATE TRIGGER "{trigger.name}" BEFORE {trigger.verb} ON "{trigger.table}"'
        f" WHEN {_refused(trigger, 'IS NOT')}"
        f" BEGIN SELECT RAISE(ABORT, '{trigger.message}'); END"
    )


def _on_postgresql(trigger: Trigger) -> Iterator[str]:
    """A function and its trigger; a trigger's own WHEN could not look into other tables."""
    goes_on = {"UPDATE": "NEW", "DELETE": "OLD", "TRUNCATE": "NULL"}[trigger.verb]
    yield (
        f'CREATE FUNCTION "{trigger.name}"() RETURNS trigger LANGUAGE plpgsql AS $guard$ BEGIN'
        f" IF {_refused(trigger, 'IS DISTINCT FROM')} THEN"
        f" RAISE EXCEPTION '{trigger.message}' USING ERRCODE = 'integrity_constraint_violation';"
        f" END IF; RETURN {goes_on}; END $guard$"
    )
    each = "STATEMENT" if trigger.verb == "TRUNCATE" else "ROW"
    yield (
        f'CREATE TRIGGER "{trigger.name}" BEFORE {trigger.verb} ON "{trigger.table}"'
        f' FOR EACH {each} EXECUTE FUNCTION "{trigger.name}"()'
    )
