"""Every list is offered as a spreadsheet with the same rows, and costs the same for 1 as for 50."""

import html
import io
import re
from collections.abc import Iterator
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import URLPattern, URLResolver, get_resolver, reverse
from python_calamine import CalamineWorkbook

from consult.services.spreadsheets import FORMULA_STARTS
from tests.access.test_matrix import MATRIX
from tests.cast import make_cast
from tests.spreadsheets import LISTS, OTHERS, ListPage

pytestmark = pytest.mark.django_db
OWN = ("consult.", "surveys.", "mitigation.")
ids = [f"{one.page}-{one.region}-{one.asker}" for one in LISTS]
PAGES = {one.page: one for one in reversed(LISTS)}  # the first of each page


def own_names(resolver: URLResolver) -> Iterator[str]:
    for entry in resolver.url_patterns:
        if isinstance(entry, URLResolver):
            yield from own_names(entry)
        elif isinstance(entry, URLPattern) and entry.callback.__module__.startswith(OWN):
            yield str(entry.name)


def test_every_list_of_the_site_is_tried_here() -> None:
    names = set(own_names(get_resolver()))
    lists = {name for name in names if name.endswith("_list")}
    exports = {name for name in names if name.endswith("_export")}
    assert lists <= set(PAGES)
    assert {f"{page}_export" for page in PAGES} <= exports
    assert exports <= {f"{page}_export" for page in PAGES} | set(OTHERS)


@pytest.mark.parametrize("page", sorted(PAGES))
def test_an_export_is_for_whom_its_page_is(page) -> None:
    assert MATRIX[f"{page}_export"] == MATRIX[page]


def rows_of_page(text: str, region: str) -> list[str]:
    """The text of each row of the table under this label; of all tables where there is no label."""
    if "<table" not in text:
        items = re.findall(r"<li>.*?</li>", text.split("<h1>")[1], re.S)
        return [html.unescape(re.sub(r"<[^>]+>", " ", item)) for item in items]
    label = re.escape(region) if region else '[^"]*'
    tables = re.findall(rf'role="region" aria-label="{label}">\s*(<table.*?</table>)', text, re.S)
    return [
        re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", row)))
        for table in tables
        for row in re.findall(r"<tr.*?</tr>", table.split("<tbody>")[1], re.S)
    ]


def every_page(browser, url: str, region: str) -> list[str]:
    rows: list[str] = []
    last, number = None, 1
    while True:
        text = browser.get(url, {"page": number}).content.decode()
        shown = rows_of_page(text, region)
        if shown == last:  # something else of the page goes on
            return rows
        rows += shown
        last, number = shown, number + 1
        if not re.search(rf"page={number}\b", text):
            return rows


def sheet_of(answer, number: int) -> list[list[Any]]:
    assert answer.status_code == 200
    book = CalamineWorkbook.from_filelike(io.BytesIO(answer.content))
    return book.get_sheet_by_index(number).to_python(skip_empty_area=False)


def plain(cell: object) -> str:
    return re.sub(r"\s+", " ", str(cell).removeprefix("'"))


@pytest.mark.parametrize("one", LISTS, ids=ids)
def test_the_export_has_the_rows_of_the_page(client, one: ListPage) -> None:
    cast = make_cast()
    for n in range(53):
        one.grow(cast, n)
    cast.log_in(client, one.asker)
    arguments = one.arguments(cast)
    export = reverse(f"{one.page}_export", kwargs=arguments)
    url = reverse(one.page, kwargs=arguments)
    assert f'href="{export}"' in client.get(url).content.decode()
    shown = every_page(client, url, one.region)
    title, *rows = sheet_of(client.get(export), one.sheet)
    assert all(title)
    if one.shows:
        assert len(shown) == one.shows < len(rows)
    elif one.page != "instrument_list":  # which lists some below its table
        assert len(shown) == len(rows)
    assert len(shown) >= min(53, one.shows or 53)
    for row, text in zip(rows, shown, strict=False):
        for column in one.columns:
            assert plain(row[column]) in text
    cells = [cell for row in rows for cell in row if isinstance(cell, str)]
    assert not [cell for cell in cells if cell.startswith(FORMULA_STARTS)]
    assert [cell for cell in cells if cell.startswith("'=1+1")]


@pytest.mark.parametrize(
    ("page", "query"),
    [
        ("case_list", "q=005"),
        ("case_list", "due=late"),
        ("client_list", "q=no. 005"),
        ("visit_list", "q=005&state=sealed"),
        ("visit_list", "state=open"),
        ("letter_list", "state=ready"),
        ("person_list", "q=no. 005"),
        ("access_log", "kind=invited"),
        ("case_detail", "room=Bedroom&decision=fail"),
    ],
)
def test_the_export_gives_what_is_filtered(client, page, query) -> None:
    cast, one = make_cast(), PAGES[page]
    for n in range(8):
        one.grow(cast, n)
    cast.log_in(client, one.asker)
    arguments = one.arguments(cast)
    url, export = (reverse(name, kwargs=arguments) for name in (page, f"{page}_export"))
    text = client.get(f"{url}?{query}").content.decode()
    shown, all_rows = rows_of_page(text, one.region), sheet_of(client.get(export), 0)[1:]
    rows = sheet_of(client.get(f"{export}?{query}"), 0)[1:]
    assert len(shown) == len(rows) < len(all_rows)
    if shown:
        offered = re.search(rf'href="({re.escape(export)}\?[^"]+)"', text)
        assert sheet_of(client.get(html.unescape(offered[1])), 0)[1:] == rows


@pytest.mark.parametrize("page", ["case_list", "client_list", "visit_list", "placement", "desk"])
def test_an_assessor_exports_own_rows_alone(client, page) -> None:
    cast, one = make_cast(), PAGES[page]
    PAGES["placement"].grow(cast, 0)
    type(cast.case).objects.filter(pk=cast.case.pk).update(due_on="2026-01-01")
    own = len(sheet_of(_as(client, cast, "its assessor").get(reverse(f"{page}_export")), 0))
    one.grow(cast, 1) if page != "placement" else None
    again = len(sheet_of(client.get(reverse(f"{page}_export")), 0))
    none = sheet_of(_as(client, cast, "another assessor").get(reverse(f"{page}_export")), 0)
    assert own == again > len(none) == 1


def _as(browser, cast, asker):
    browser.logout()
    cast.log_in(browser, asker)
    return browser


def test_the_file_is_named_in_the_readers_language_and_in_ascii(client) -> None:
    cast = make_cast()
    cast.people["office"].language = "de"
    cast.people["office"].save()
    cast.log_in(client, "office")
    for page in ("case_list", "instrument_list", "desk"):
        answer = client.get(reverse(f"{page}_export"))
        said = answer.headers["Content-Disposition"]
        name = re.fullmatch(r'attachment; filename="([a-z0-9-]+)\.xlsx"', said)
        assert name and name[1] != "list"


COUNTED = {
    f"{listing.page}-{listing.asker}": (
        (listing.page, f"{listing.page}_export"),
        listing.grow,
        listing.asker,
        listing.arguments,
    )
    for listing in LISTS
} | {f"{name}-{rest[1]}": ((name,), *rest) for name, rest in OTHERS.items()}


@pytest.mark.parametrize(
    ("names", "grow", "asker", "arguments"), COUNTED.values(), ids=COUNTED.keys()
)
def test_it_costs_the_same_queries_for_1_row_and_for_50(client, names, grow, asker, arguments):
    cast = make_cast()
    grow(cast, 0)
    cast.log_in(client, asker)
    urls = [reverse(name, kwargs=arguments(cast)) for name in names]
    for url in urls:
        client.get(url)
    of_few = [queries(client, url) for url in urls]
    for n in range(1, 50):
        grow(cast, n)
    for few, many in zip(of_few, (queries(client, url) for url in urls), strict=True):
        assert len(few) == len(many), "\n".join(sorted(set(many) - set(few)))


def queries(browser, url: str) -> list[str]:
    with CaptureQueriesContext(
        connection,
    ) as caught:
        assert browser.get(url).status_code == 200
    return [query["sql"] for query in caught.captured_queries]
