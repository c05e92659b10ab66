"""Many rows at once, from columns: COPY on PostgreSQL, executemany elsewhere."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import connection, models

_COPY_ESCAPES = str.maketrans({"\\": "\\\\", "\t": "\\t", "\n": "\\n", "\r": "\\r"})
_COPY_ROWS = 5_000


def insert_columns(*, model: type[models.Model], columns: Mapping[str, Sequence[Any]]) -> None:
    """Insert one row per entry of `columns`, by field name; only the database checks them."""
    quote = connection.ops.quote_name
    table = quote(model._meta.db_table)
    names = ", ".join(quote(_column(model, name)) for name in columns)
    columns = {name: _stored(model, name, values) for name, values in columns.items()}
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            _copy(cursor, f"COPY {table} ({names}) FROM STDIN", columns.values())
            return
        marks = ", ".join(["%s"] * len(columns))
        rows = list(zip(*columns.values(), strict=True))
        cursor.executemany(f"INSERT INTO {table} ({names}) VALUES ({marks})", rows)


def _column(model: type[models.Model], name: str) -> str:
    return str(model._meta.get_field(name).column)  # type: ignore[union-attr]  # no relation ends here


def _stored(model: type[models.Model], name: str, values: Sequence[Any]) -> Sequence[Any]:
    """Keys and times as the database holds them; each distinct one is turned once."""
    field = model._meta.get_field(name)
    if not isinstance(field, models.UUIDField | models.DateTimeField):
        return values
    turned = {
        value: field.get_db_prep_save(value, connection)
        for value in dict.fromkeys(values)
        if isinstance(value, UUID | datetime)
    }
    return [turned.get(value, value) for value in values]


def _copy(cursor: Any, statement: str, columns: Iterable[Sequence[Any]]) -> None:
    texts = [_copy_texts(column) for column in columns]
    rows = list(map("\t".join, zip(*texts, strict=True)))
    with cursor.copy(statement) as copy:
        for start in range(0, len(rows), _COPY_ROWS):
            copy.write("\n".join(rows[start : start + _COPY_ROWS]) + "\n")


def _copy_texts(column: Sequence[Any]) -> list[str]:
    """The cells of a column as COPY wants them; each distinct value is written out once."""
    written = {value: _copy_text(value) for value in dict.fromkeys(column)}
    return [written[value] for value in column]


def _copy_text(value: Any) -> str:
    if value is None:
        return "\\N"
    if isinstance(value, float):
        return repr(value)
    return str(value).translate(_COPY_ESCAPES)
