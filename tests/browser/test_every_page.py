"""Every page of the matrix, for each of the cast: axe, the policy, 360 px, both schemes.

axe looks at each page in both schemes as the first of the cast sees it, and once at every other
content of it; the width is looked at for all. The pages are dealt out in parts, so that workers
balance.
"""

import re

import pytest
from django.test import Client as DjangoClient
from django.urls import reverse

from consult.models import Client, User
from tests.access.test_matrix import MATRIX, _filled
from tests.cast import ASKERS, Cast, make_cast

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

FRAGMENTS = {"reading_fields"}  # fetched into another page, never opened
VISITORS = ["manager", "its assessor", "its client", "its electrician", "nobody"]
PAGES = sorted(name for name, (method, *_) in MATRIX.items() if method == "get")
PARTS = 8
TOKEN = re.compile(r'name="csrfmiddlewaretoken" value="\w+"|[0-9a-f]{8}-[0-9a-f-]{27}')


def pages_of(cast: Cast, askers: list[str], names: list[str]) -> dict[str, dict[str, str]]:
    """For each URL name the path by asker, of those who get it as a page."""
    browsers = {asker: DjangoClient() for asker in askers}
    for asker, browser in browsers.items():
        cast.log_in(browser, asker)
    pages: dict[str, dict[str, str]] = {}
    for name in names:
        _method, arguments, expected = MATRIX[name]
        statuses = dict(zip(ASKERS, expected.split(), strict=True))
        readers = [asker for asker in askers if statuses[asker] in ("200", "410")]
        if name in FRAGMENTS or not readers:
            continue
        path = reverse(name, kwargs=_filled(arguments, cast.case))
        for asker in readers:
            answer = browsers[asker].get(path)
            if answer.streaming:
                assert b"".join(answer)  # to its end, which closes the file
            if answer.headers["Content-Type"].startswith("text/html"):
                assert answer.content.lstrip().startswith(b"<!DOCTYPE html>"), name
                pages.setdefault(name, {})[asker] = path
    return pages


@pytest.mark.long
@pytest.mark.parametrize("part", range(PARTS))
def test_nothing_is_wrong_with_any_page(part, visitors) -> None:
    cast = make_cast()
    pages = pages_of(cast, VISITORS, PAGES[part::PARTS])
    assert pages
    everybody = {asker: visitors.enter(cast.people.get(asker)) for asker in VISITORS}
    wrong = []
    for name, paths in pages.items():
        contents: list[str] = []
        for nth, (asker, path) in enumerate(paths.items()):
            visitor = everybody[asker]
            visitor.look(width=1280, scheme="light")
            visitor.open(path)
            contents.append(TOKEN.sub("", visitor.page.locator("main").inner_html()))
            is_another = contents[-1] not in contents[:-1]
            for width, scheme in ((1280, "light"), (360, "dark")):
                visitor.look(width=width, scheme=scheme)
                where = f"{name} for {asker} {width} {scheme}"
                if nth == 0 or (is_another and (scheme == "light") == (nth % 2 == 1)):
                    wrong += [f"{where}: {line}" for line in visitor.axe()]
                if visitor.wider_than_the_screen():
                    wrong.append(f"{where}: wider than the screen")
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize("asker", ["manager", "its client"])
def test_german_words_fit_a_phone(asker, visitors) -> None:
    cast = make_cast()
    User.objects.update(language="de")
    Client.objects.update(language="de")  # what is shown to them speaks theirs
    pages = pages_of(cast, [asker], PAGES)
    assert len(pages) > 5
    visitor = visitors.enter(cast.people[asker], width=360)
    wrong = []
    for name, paths in pages.items():
        visitor.open(paths[asker])
        assert visitor.page.locator("html").get_attribute("lang") == "de", name
        if visitor.wider_than_the_screen():
            wrong.append(name)
    assert not wrong, "\n".join(wrong)
