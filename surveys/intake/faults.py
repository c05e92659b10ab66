"""What is wrong in a case folder: one line for each wrong cell."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.core.exceptions import ValidationError
from django.utils.translation import gettext

MOST_SHOWN = 200
_LONGEST_FOUND = 60


@dataclass(frozen=True)
class Fault:
    """A wrong cell, row or file: where it is, what was found, what is allowed."""

    file: str
    row: int | None
    column: str | None
    found: str | None
    allowed: str

    def __str__(self) -> str:
        place = _one_line(self.file)
        if self.row is not None:
            place += f" {gettext('row')} {self.row}"
        if self.column is not None:
            place += f", {gettext('column')} {_one_line(self.column)}"
        said = gettext("%(place)s: found %(found)s, allowed: %(allowed)s")
        return said % {"place": place, "found": _shown(self.found), "allowed": self.allowed}


def _one_line(name: str) -> str:
    """A name from a file, cut short and without line breaks."""
    return " ".join(name.split())[:_LONGEST_FOUND]


def _shown(found: str | None) -> str:
    if found is None or found == "":
        return gettext("nothing")
    if len(found) > _LONGEST_FOUND:
        found = found[:_LONGEST_FOUND] + "…"
    return repr(found)


class FaultLog:
    """Collects faults; a column that is wrong throughout is counted, not listed without end."""

    def __init__(self) -> None:
        self._faults: list[tuple[int, int, int, Fault]] = []
        self._files: dict[str, int] = {}
        self.count = 0

    def __bool__(self) -> bool:
        return self.count > 0

    def add(
        self,
        file: str,
        row: int | None,
        column: str | None,
        found: str | None,
        allowed: str,
        order: int = 0,
    ) -> None:
        """Note one fault; `order` is the place of the column in its row."""
        self.count += 1
        file_order = self._files.setdefault(file, len(self._files))
        fault = Fault(file, row, column, found, allowed)
        self._faults.append((file_order, row or 0, order, fault))

    def add_uncounted(self, more: int) -> None:
        """Count `more` faults that are not listed."""
        self.count += more

    def first(self, most: int = MOST_SHOWN) -> tuple[Fault, ...]:
        """The faults by file, row and column, at most `most` of them."""
        ordered = sorted(self._faults, key=lambda entry: entry[:3])
        return tuple(entry[3] for entry in ordered[:most])


def lines(faults: Sequence[Fault], count: int) -> list[str]:
    """One line a fault, and a last one that counts those which are not listed."""
    listed = [str(fault) for fault in faults]
    if count > len(faults):
        more = count - len(faults)
        listed.append(gettext("... and %(n)s more wrong cells") % {"n": more})
    return listed


class CaseFolderRefused(ValidationError):
    """A case folder with faults; nothing of it was stored."""

    def __init__(self, faults: Iterable[Fault], count: int | None = None) -> None:
        self.faults = tuple(faults)
        self.count = len(self.faults) if count is None else count
        super().__init__(self.lines())

    def lines(self) -> list[str]:
        """One line a fault."""
        return lines(self.faults, self.count)
