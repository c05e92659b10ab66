"""Pages of a list that may be very long: counting stops early, and no page waits for the total."""

from collections.abc import Sequence
from typing import Any

from django.core.paginator import EmptyPage, Page, Paginator
from django.db.models import QuerySet
from django.utils.functional import cached_property


class LongPaginator(Paginator):  # type: ignore[type-arg]  # it takes none when it runs
    """`count` stops at `most_counted`; beyond it the pages go on until one has no rows."""

    def __init__(self, rows: QuerySet[Any], per_page: int, *, most_counted: int) -> None:
        super().__init__(rows, per_page)
        self.rows = rows
        self.most_counted = most_counted

    @cached_property
    def _counted(self) -> int:
        return self.rows.order_by()[: self.most_counted + 1].count()

    @property
    def is_long(self) -> bool:
        """Whether there are more rows than were counted."""
        return self._counted > self.most_counted

    @cached_property
    def count(self) -> int:
        return min(self._counted, self.most_counted)

    def validate_number(self, number: Any) -> int:
        """Of a long list any page may exist; whether it does is seen when it is fetched."""
        try:
            return super().validate_number(number)
        except EmptyPage:
            if self.is_long and int(number) > 0:
                return int(number)
            raise

    def page(self, number: Any) -> "Page[Any]":
        number = self.validate_number(number)
        if not self.is_long:
            return super().page(number)
        start = (number - 1) * self.per_page
        rows = list(self.rows[start : start + self.per_page + 1])
        return LongPage(rows, number, self) if rows else self.page(self.num_pages)


class LongPage(Page):  # type: ignore[type-arg]  # it takes none when it runs
    """A page that knows by one row too many that another follows."""

    def __init__(self, rows: Sequence[Any], number: int, paginator: LongPaginator) -> None:
        super().__init__(rows[: paginator.per_page], number, paginator)
        self._goes_on = len(rows) > paginator.per_page

    def has_next(self) -> bool:
        return self._goes_on
