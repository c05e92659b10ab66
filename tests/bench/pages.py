"""Pages at 100 and at 50,000 cases, in turns, beside a bare view behind the same middleware.

`python -m tests.bench.pages sqlite|postgresql [--quick] [--size=200000]` prints its rows as JSON;
another size is set beside a practice of a two-hundredth of it.
"""

import argparse
import os
import statistics
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from itertools import islice
from pathlib import Path
from typing import Any

from tests.bench.databases import fresh_database
from tests.bench.timing import Row, at_most, seconds

SMALL, LARGE = 100, 50_000
LARGE_TO_SMALL = 200  # where another size is asked for
REPEATS = 150
WARM_UP = 10
MOST_LARGE_TO_SMALL = 1.3
MOST_LIST_MS = 50


@dataclass
class Place:
    """A database of one size, somebody logged in to it, and what each page took there."""

    n: int
    connection: Any
    browser: Any
    urls: dict[str, list[str]] = field(default_factory=dict)
    times_ms: dict[str, list[float]] = field(default_factory=dict)
    busy_ms: dict[str, list[float]] = field(default_factory=dict)  # of this process's processor
    costs: dict[str, set[tuple[int, int]]] = field(default_factory=dict)  # queries and rows

    @contextmanager
    def here(self) -> Iterator[None]:
        """The site works on this database meanwhile."""
        from django.db import connections

        connections["default"] = self.connection
        yield

    def get(self, url: str) -> Any:
        response = self.browser.get(url, SERVER_NAME="localhost")
        assert response.status_code == 200, (url, response.status_code)
        return response

    def measure(self, page: str, turn: int) -> None:
        urls = self.urls[page]
        url = urls[turn % len(urls)]
        busy = time.process_time()
        self.times_ms.setdefault(page, []).append(1_000 * seconds(lambda: self.get(url)))
        self.busy_ms.setdefault(page, []).append(1_000 * (time.process_time() - busy))

    def count(self, page: str) -> None:
        from django.test.utils import CaptureQueriesContext

        for url in self.urls[page][:3]:
            with CaptureQueriesContext(self.connection) as caught:
                shown = self.get(url).content.count(b'<th scope="row">')
            self.costs.setdefault(page, set()).add((len(caught), shown))

    def p(self, page: str, percent: int) -> float:
        return _p(self.times_ms[page], percent)


def _p(times_ms: list[float], percent: int) -> float:
    return statistics.quantiles(times_ms, n=100, method="inclusive")[percent - 1]


def new_place(n: int, name: str, migrated: Any) -> Place:
    """A filled copy of the migrated database beside it, with somebody of the office logged in."""
    from django.db.utils import load_backend
    from django.test import Client as Browser

    from tests.bench.many_cases import fill

    settings = dict(migrated.settings_dict)
    with migrated.cursor() as cursor:
        if migrated.vendor == "postgresql":
            cursor.execute(f'CREATE DATABASE {name} TEMPLATE "{settings["NAME"]}"')
            settings["NAME"] = name
        else:
            settings["NAME"] = str(Path(settings["NAME"]).with_name(f"{name}.sqlite3"))
            cursor.execute("VACUUM INTO %s", [settings["NAME"]])
    backend = load_backend(settings["ENGINE"])
    place = Place(n, backend.DatabaseWrapper(settings, "default"), Browser())
    with place.here():
        office = fill(n)
        place.browser.force_login(office)
    return place


def choose_urls(places: list[Place], n_of_each: int) -> None:
    """The same addresses for all sizes; searches that find one case find one in each of them."""
    from django.urls import reverse

    from mitigation.models import Case, Stage

    def is_alone(query: str) -> bool:
        return all(
            _in(place, lambda: Case.objects.matching(query).count()) == 1 for place in places
        )

    with places[0].here():
        cases = list(Case.objects.select_related("property__client").order_by("-pk"))
    queries = {
        "search by reference": [case.reference for case in cases],
        "search by client": [case.property.client.name for case in cases],
        "search by address": [str(case.property) for case in cases],
    }
    here = reverse("case_list")
    urls = {
        page: list(islice(filter(is_alone, found), n_of_each)) for page, found in queries.items()
    }
    urls = {page: [f"{here}?q={q}" for q in found] for page, found in urls.items()}
    urls["bare view"] = ["/bare/"]
    urls["case list"] = [here]
    urls["search by spot"] = [f"{here}?q=sofa seat"]
    urls["search by a common word"] = [f"{here}?q=bed"]
    urls["desk"] = [reverse("desk")]
    urls["calendar list"] = [reverse("calendar_list")]
    urls["calendar of firms"] = [f"{reverse('calendar')}?who=firms"]
    urls["case page"] = []
    for place in places:
        with place.here():
            proved = Case.objects.filter(stage=Stage.PROOF).order_by("-pk")[:n_of_each]
            pages = [reverse("case_detail", args=[case.reference]) for case in proved]
        place.urls = urls | {"case page": pages}


def _in(place: Place, work: Callable[[], Any]) -> Any:
    with place.here():
        return work()


def measure(vendor: str, sizes: tuple[int, int], repeats: int, warm_up: int) -> list[Row]:
    from django.db import connections

    migrated = connections["default"]
    assert migrated.vendor == vendor
    places = [new_place(n, f"cases_{n}", migrated) for n in sizes]
    choose_urls(places, n_of_each=min(20, repeats))
    pages = list(places[0].urls)
    for page in pages:
        for turn in range(warm_up + repeats):
            for place in places if turn % 2 else reversed(places):
                with place.here():
                    place.measure(page, turn)
        for place in places:
            place.times_ms[page] = place.times_ms[page][warm_up:]
            place.busy_ms[page] = place.busy_ms[page][warm_up:]
            with place.here():
                place.count(page)
    for place in places:
        place.connection.close()
    return [row for page in pages for row in rows_of(vendor, page, *places)]


def rows_of(vendor: str, page: str, small: Place, large: Place) -> Iterator[Row]:
    if page == "bare view":
        return
    few, many = (" or ".join(f"{n} and {rows}" for n, rows in sorted(place.costs[page]))
                 for place in (small, large))  # fmt: skip
    note = (
        f"p95 {large.p(page, 95):.1f} against {small.p(page, 95):.1f} ms, "
        f"p50 {large.p(page, 50):.1f} against {small.p(page, 50):.1f} ms, "
        f"processor p95 {_p(large.busy_ms[page], 95):.1f} against "
        f"{_p(small.busy_ms[page], 95):.1f} ms, "
        f"{large.p(page, 50) / large.p('bare view', 50):.1f} x a bare view; "
        f"queries and rows: {many} against {few}"
    )
    ratio = large.p(page, 95) / small.p(page, 95)
    row = at_most(f"pages: {page} ({vendor})", ratio, MOST_LARGE_TO_SMALL, note)
    yield replace(row, met=row.met and few == many)
    if page == "case list" and vendor == "sqlite":
        p95, cases = large.p(page, 95), f"p95 at {large.n:,} cases"
        yield at_most("pages: case list p95 (sqlite)", p95, MOST_LIST_MS, cases, unit="ms")


def sizes_of(size: int) -> tuple[int, int]:
    """The cases of the small practice and of the large one."""
    return (SMALL, LARGE) if size == LARGE else (max(1, size // LARGE_TO_SMALL), size)


def main(vendor: str, *, quick: bool, size: int) -> None:
    os.environ["TIME_ZONE"] = "UTC"
    with fresh_database(vendor):
        from django.conf import settings

        settings.ROOT_URLCONF = "tests.bench.bare"
        few = ((10, 20), 2, 1)
        for row in measure(vendor, *(few if quick else (sizes_of(size), REPEATS, WARM_UP))):
            print(row.as_json(), flush=True)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("vendor", choices=("sqlite", "postgresql"))
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--size", type=int, default=LARGE)
    given = parser.parse_args()
    main(given.vendor, quick=given.quick, size=given.size)
