"""Words as people type them: without case and accents, whichever database compares them."""

import re
import sqlite3
import unicodedata
from typing import Any, TypeVar

from django.db import models
from django.db.models.functions import Concat

Rows = TypeVar("Rows", bound=models.QuerySet[Any])
MOST_WORDS = 8
FUNCTION = "ebbmark_has_words"
SPELT = {"ß": "ss", "ø": "o", "ł": "l", "æ": "ae", "œ": "oe", "đ": "d"}
_SPELT = str.maketrans(SPELT)
_ACCENTS = re.compile("[\u0300-\u036f]+")


def folded(text: str) -> str:
    """Without case and accents: `Möwe` and `mowe` are one word."""
    if text.isascii():
        return text.lower()
    plain = _ACCENTS.sub("", unicodedata.normalize("NFKD", text.casefold().translate(_SPELT)))
    if plain.isascii():
        return plain
    return "".join(char for char in plain if not unicodedata.combining(char))


def has_words(text: str | None, words: str) -> bool:
    """Whether `text` has each of the folded words, which stand on lines of their own."""
    searched = folded(text or "")
    return all(word in searched for word in words.split("\n"))


def teach_sqlite(connection: Any, **_kwargs: Any) -> None:
    """Give a new connection the function that SQLite lacks: it folds no more than ASCII."""
    if connection.vendor == "sqlite":
        own: sqlite3.Connection = connection.connection
        own.create_function(FUNCTION, 2, has_words, deterministic=True)


class HasWords(models.Func):
    """`has_words` of a column, by the database; a row is folded once, however many words."""

    function = FUNCTION
    output_field = models.BooleanField()

    def __init__(self, text: Any, words: list[str]) -> None:
        super().__init__(text, models.Value("\n".join(words)))
        self.words = words

    def as_postgresql(self, compiler: Any, connection: Any, **_context: Any) -> Any:
        """By its own means: accents become characters of their own, which are then taken away."""
        sql, parameters = compiler.compile(self.source_expressions[0])
        sql = rf"lower(regexp_replace(normalize({sql}, NFKD), '[\u0300-\u036f]', '', 'g'))"
        for letter, spelt in SPELT.items():
            for spelling in (letter, "ẞ" if letter == "ß" else letter.upper()):
                sql = f"replace({sql}, '{spelling}', '{spelt}')"
        patterns = [f"%{_like(word)}%" for word in self.words]
        return f"{sql} LIKE ALL(%s)", [*parameters, patterns]


def _like(word: str) -> str:
    """A word that LIKE takes as it is written."""
    return re.sub(r"([\\%_])", r"\\\1", word)


def with_words(rows: Rows, query: str, *fields: str) -> Rows:
    """The rows that have each word of `query` somewhere in `fields`; so many words and no more."""
    words = list(dict.fromkeys(folded(query).split()))[:MOST_WORDS]
    if not words:
        return rows
    parts: list[Any] = []
    for field in fields:
        parts += [models.F(field), models.Value("\n")]
    return rows.filter(HasWords(Concat(*parts, output_field=models.TextField()), words))
