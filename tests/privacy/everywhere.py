"""A look into every column of every table and every kept file."""

from pathlib import Path
from typing import Any

from django.db import connection


def all_text() -> dict[str, str]:
    """What stands in each column of the database, as one text per column."""
    found = {}
    with connection.cursor() as cursor:
        for table in connection.introspection.table_names(cursor):
            cursor.execute(f'SELECT * FROM "{table}"')
            names = [column[0] for column in cursor.description]
            for name, cells in zip(names, zip(*cursor.fetchall(), strict=True), strict=False):
                found[f"{table}.{name}"] = "\n".join(map(_as_text, cells)).casefold()
    return found


def _as_text(value: Any) -> str:
    if isinstance(value, bytes | memoryview):
        return bytes(value).decode("utf-8", "replace")
    return "" if value is None else str(value)


def all_files(folder: Path) -> dict[str, str]:
    """The name and the bytes of each kept file."""
    return {
        str(path): path.name.casefold() + "\n" + path.read_bytes().decode("latin-1").casefold()
        for path in (folder.rglob("*") if folder.exists() else ())
        if path.is_file()
    }


def places_of(words: dict[str, str], folder: Path) -> dict[str, list[str]]:
    """Every column and file that holds each word; words that are nowhere are left out."""
    texts = all_text() | all_files(folder)
    found = {
        where: [place for place, text in texts.items() if word.casefold() in text]
        for where, word in words.items()
    }
    return {where: places for where, places in found.items() if places}
