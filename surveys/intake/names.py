"""Columns of names: each once, or such as other rows declare."""

from collections.abc import Callable, Mapping

from django.utils.translation import gettext

from surveys.intake.cells import NotAllowed, read_words
from surveys.intake.tables import Table
from surveys.models.names import folded

_MOST_SHOWN = 12


def own_names(table: Table, column: str, parse: Callable[[str], str]) -> list[str]:
    """The names of the rows, each once; `parse` refuses one that may not be."""
    read_words(table, column, parse, "")
    names = table[column].texts
    first: dict[str, int] = {}
    for place, name in enumerate(names):
        earlier = first.setdefault(folded(name), place)
        if name and earlier != place:
            row = int(table.row_numbers[earlier])
            same = gettext("row %(n)s has the same") % {"n": row}
            table.fault(place, column, f"{gettext('each name once')} ({same})")
    return names


def declared_name(word: str, known: Mapping[str, str], allowed: str) -> str:
    """A name as the row that declares it spells it; `known` is by folded name."""
    if folded(word) not in known:
        shown = ", ".join(list(known.values())[:_MOST_SHOWN])
        more = " ..." if len(known) > _MOST_SHOWN else ""
        raise NotAllowed(f"{allowed}: {shown + more or gettext('none there')}")
    return known[folded(word)]
