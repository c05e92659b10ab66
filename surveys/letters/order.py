"""The order of rows in the tables and pictures of letters, and on the pages that follow them."""

from collections.abc import Callable, Iterable
from typing import TypeVar

from surveys.models import Measurand

Row = TypeVar("Row")


def by_measurand(rows: Iterable[Row], code_of: Callable[[Row], str]) -> dict[str, list[Row]]:
    """The rows of each measurand that has some, in the order in which measurands are named."""
    groups: dict[str, list[Row]] = {code.value: [] for code in Measurand}
    for row in rows:
        groups[code_of(row)].append(row)
    return {code: group for code, group in groups.items() if group}


def worst_first(*, use: str, value: float | None, limit: float | None) -> tuple[bool, bool, float]:
    """A key to sort by: sleeping spots first, and there the worst first, unmeasured ones last."""
    share = 0.0 if value is None else value / (limit or 1.0)
    return use != "sleeping", value is None, -share
