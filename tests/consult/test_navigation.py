"""The top line says where its reader is."""

import re

import pytest
from django.urls import reverse

from tests.factories import ClientFactory, UserFactory

pytestmark = pytest.mark.django_db


def marked(client, path: str) -> list[tuple[str, str]]:
    """The links of the top line that say so, each with what it says."""
    page = client.get(path).content.decode()
    top = page[page.index("<nav") : page.index("</nav>")]
    return re.findall(r'<a href="[^"]+" aria-current="(\w+)">([^<]+)</a>', top)


@pytest.mark.parametrize(
    ("name", "word"),
    [
        ("desk", "Desk"),
        ("case_list", "Cases"),
        ("guideline_list", "Registers"),
        ("letter_list", "Letters"),
        ("access_log", "Practice"),
    ],
)
def test_the_section_of_a_page_is_marked(client, name, word) -> None:
    client.force_login(UserFactory(role="office", is_manager=True))
    path = reverse(name)
    says = "page" if name in ("desk", "case_list", "letter_list") else "true"
    assert marked(client, path) == [(says, word)]


def test_a_page_below_a_list_belongs_to_it(client) -> None:
    client.force_login(UserFactory(role="office", is_manager=True))
    below = reverse("client_detail", args=[ClientFactory().pk])
    assert marked(client, below) == [("true", "Clients")]


def test_a_page_outside_of_every_section_marks_none(client) -> None:
    client.force_login(UserFactory(role="office", is_manager=True))
    assert marked(client, reverse("own_account")) == []
