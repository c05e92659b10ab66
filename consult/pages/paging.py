"""Pages of a list that may be very long: no page waits for the total."""

from typing import Any

from django.core.paginator import Page, Paginator
from django.db.models import QuerySet
from django.utils.functional import cached_property

LAST_PAGE = 1_000_000


class LongPaginator(Paginator):  # type: ignore[type-arg]  # it takes none when it runs
    """Two queries a page: the keys from its first row as far as `most_counted`, then its rows.

    So the search is made once, and stops early. `rows` are those wanted, in order; `shown` fetches
    what a row shows.
    """

    def __init__(
        self, rows: QuerySet[Any], per_page: int, *, shown: QuerySet[Any], most_counted: int
    ) -> None:
        super().__init__(rows, per_page)
        self.rows = rows.values_list("pk", flat=True)
        self.shown = shown
        self.most_counted = most_counted

    @cached_property
    def known(self) -> int:
        """So many rows there are at least; all of them, unless the list is long."""
        return self.rows.order_by()[: self.most_counted + 1].count()

    @property
    def is_long(self) -> bool:
        """Whether there are more rows than are counted."""
        return self.known > self.most_counted

    @cached_property
    def count(self) -> int:
        return min(self.known, self.most_counted)

    def validate_number(self, number: Any) -> int:
        """Any page may exist; whether it does is seen when it is fetched."""
        try:
            return min(max(int(number), 1), LAST_PAGE)
        except (TypeError, ValueError):
            return 1

    def page(self, number: Any) -> "Page[Any]":
        """The page of that number; the last one that was counted, where there is none."""
        number = self.validate_number(number)
        start = (number - 1) * self.per_page
        keys = list(self.rows[start : max(start + self.per_page, self.most_counted) + 1])
        if number > 1 and not keys:
            return self.page(min(self.num_pages, number - 1))
        self.known = start + len(keys)
        here = keys[: self.per_page]
        shown = self.shown.in_bulk(here)
        rows = [shown[key] for key in here if key in shown]
        return LongPage(rows, number, self, goes_on=len(keys) > self.per_page)


class LongPage(Page):  # type: ignore[type-arg]  # it takes none when it runs
    """A page that was told whether another follows."""

    def __init__(
        self, rows: list[Any], number: int, paginator: LongPaginator, *, goes_on: bool
    ) -> None:
        super().__init__(rows, number, paginator)
        self._goes_on = goes_on

    def has_next(self) -> bool:
        return self._goes_on
