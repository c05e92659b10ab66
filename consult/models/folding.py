"""Words as people type them: without case and accents, whichever database compares them."""

import sqlite3
import unicodedata
from typing import Any, TypeVar

from django.db import models
from django.db.models.functions import Concat

Rows = TypeVar("Rows", bound=models.QuerySet[Any])
MOST_WORDS = 8
FUNCTION = "ebbmark_folded"
SPELT = {"ß": "ss", "ø": "o", "ł": "l", "æ": "ae", "œ": "oe", "đ": "d"}
_SPELT = str.maketrans(SPELT)


def folded(text: str) -> str:
    """Without case and accents: `Möwe` and `mowe` are one word."""
    if text.isascii():
        return text.lower()
    plain = unicodedata.normalize("NFKD", text.casefold().translate(_SPELT))
    return "".join(char for char in plain if not unicodedata.combining(char))


def teach_sqlite(connection: Any, **_kwargs: Any) -> None:
    """Give a new connection the function that SQLite lacks: it folds no more than ASCII."""
    if connection.vendor == "sqlite":
        own: sqlite3.Connection = connection.connection
        own.create_function(FUNCTION, 1, lambda text: folded(text or ""), deterministic=True)


class Folded(models.Func):
    """`folded` of a column, by the database."""

    function = FUNCTION
    arity = 1
    output_field = models.TextField()

    def as_postgresql(self, compiler: Any, connection: Any, **context: Any) -> Any:
        """By its own means: accents become characters of their own, which are then taken away."""
        plain = (
            r"lower(regexp_replace(normalize(%(expressions)s, NFKD), '[\u0300-\u036f]', '', 'g'))"
        )
        for letter, spelt in SPELT.items():
            for one in (letter, "ẞ" if letter == "ß" else letter.upper()):
                plain = f"replace({plain}, '{one}', '{spelt}')"
        sql: Any = super().as_sql(compiler, connection, template=plain, **context)
        return sql


def with_words(rows: Rows, query: str, *fields: str) -> Rows:
    """The rows that have each word of `query` somewhere in `fields`; so many words and no more."""
    words = list(dict.fromkeys(folded(query).split()))[:MOST_WORDS]
    if not words:
        return rows
    parts: list[Any] = []
    for field in fields:
        parts += [models.F(field), models.Value("\n")]
    text = Concat(*parts, output_field=models.TextField())
    rows = rows.alias(folded_text=Folded(text))
    for word in words:
        rows = rows.filter(folded_text__contains=word)
    return rows
