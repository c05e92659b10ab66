"""Every page of the matrix, for each of the cast: axe, the policy, 360 px, both schemes."""

from itertools import product

import pytest
from django.test import Client as DjangoClient
from django.urls import reverse

from consult.models import Client, User
from tests.access.test_matrix import MATRIX, _filled
from tests.cast import ASKERS, Cast, make_cast

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

PARTS = {"reading_units"}  # fetched into another page, never opened


def pages_of(cast: Cast, asker: str) -> dict[str, str]:
    """URL name and path of each page that `asker` gets as a page."""
    browser = DjangoClient()
    cast.log_in(browser, asker)
    found = {}
    for name, (method, arguments, expected) in MATRIX.items():
        status = expected.split()[ASKERS.index(asker)]
        if method != "get" or status not in ("200", "410"):
            continue
        path = reverse(name, kwargs=_filled(arguments, cast.case))
        answer = browser.get(path)
        if name in PARTS or not answer.headers["Content-Type"].startswith("text/html"):
            continue
        assert answer.content.lstrip().startswith(b"<!DOCTYPE html>"), name
        found[name] = path
    return found


@pytest.mark.parametrize(
    "asker", ["manager", "its assessor", "its client", "its electrician", "nobody"]
)
def test_nothing_is_wrong_with_any_page(asker, visitors) -> None:
    cast = make_cast()
    pages = pages_of(cast, asker)
    assert len(pages) > 5
    visitor = visitors.enter(cast.people.get(asker))
    wrong = []
    for name, path in pages.items():
        visitor.look(width=1280, scheme="light")
        visitor.open(path)
        for width, scheme in product((1280, 360), ("light", "dark")):
            visitor.look(width=width, scheme=scheme)
            where = f"{name} {width} {scheme}"
            wrong += [f"{where}: {line}" for line in visitor.axe()]
            if visitor.wider_than_the_screen():
                wrong.append(f"{where}: wider than the screen")
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize("asker", ["manager", "its client"])
def test_german_words_fit_a_phone(asker, visitors) -> None:
    cast = make_cast()
    User.objects.update(language="de")
    Client.objects.update(language="de")  # what is shown to them speaks theirs
    pages = pages_of(cast, asker)
    visitor = visitors.enter(cast.people[asker], width=360)
    wrong = []
    for name, path in pages.items():
        visitor.open(path)
        assert visitor.page.locator("html").get_attribute("lang") == "de", name
        if visitor.wider_than_the_screen():
            wrong.append(name)
    assert not wrong, "\n".join(wrong)
