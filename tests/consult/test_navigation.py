"""The top line says where its reader is."""

import re

import pytest
from django.template import RequestContext, Template
from django.urls import reverse

from consult.models import Practice
from consult.templatetags.navigation import section_of
from tests.access.test_matrix import MATRIX
from tests.cast import ASKERS
from tests.factories import ClientFactory, PropertyFactory, UserFactory

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


# What each of these has in the top line.
OWN_PAGES = {"own_account"}
DESK = {
    "desk", "case_list", "client_list", "visit_list", "order_list", "instrument_list",
    "letter_list",
}  # fmt: skip
LINKS = {
    "manager": DESK | OWN_PAGES | {"person_list"},
    "office": DESK | OWN_PAGES,
    "its assessor": DESK | OWN_PAGES,
    "its client": {"client_home", "letter_list"} | OWN_PAGES,
    "its electrician": {"order_list"} | OWN_PAGES,
}
FILES = {"attachment", "attachment_picture", "report_photo_show", "order_document"}
# Written for clients; whoever else may read them comes by their address.
FOR_CLIENTS = {"prepare", "glossary", "letter_check"}


@pytest.mark.parametrize("asker", LINKS)
def test_every_page_belongs_to_a_link_that_its_reader_has(asker) -> None:
    lost = []
    for name, (method, arguments, expected) in MATRIX.items():
        status = expected.split()[ASKERS.index(asker)]
        if method != "get" or status != "200" or name in FILES:
            continue
        if name in FOR_CLIENTS and asker != "its client":
            continue
        filled = {key: "1" if "{" in value else value for key, value in arguments.items()}
        path = reverse(name, kwargs=filled)
        if section_of(path) not in LINKS[asker] and not name.endswith("_export"):
            lost.append(path)
    assert not lost


def test_a_part_of_an_address_does_not_stand_for_the_whole(client) -> None:
    # One's contact lies under one's own address, and belongs to one's case all the same.
    assert section_of(reverse("own_contact")) == "client_home"
    assert section_of(reverse("own_language")) == "own_account"
    assert section_of(reverse("person_data", args=["person", 1])) == "person_list"
    assert section_of(reverse("person_data", args=["client", 1])) == "client_list"
    assert section_of("/nothing/") is None


def test_a_page_below_a_section_elsewhere_marks_it(client) -> None:
    client.force_login(UserFactory(role="office"))
    home = PropertyFactory()
    for name in ("property_edit", "case_open", "place_list"):
        assert marked(client, reverse(name, args=[home.pk])) == [("true", "Clients")], name


def test_the_pages_of_ones_log_in_mark_ones_name_alone(client) -> None:
    client.force_login(UserFactory(role="office", is_manager=True, name="Ada Lehn"))
    for name, says in (("own_account", "page"), ("usersessions_list", "true")):
        assert marked(client, reverse(name)) == []
        page = client.get(reverse(name)).content.decode()
        top = page[page.index("</nav>") : page.index("</header>")]
        assert re.findall(r'aria-current="(\w+)">([^<,]+)', top) == [(says, "Ada Lehn")]


def test_a_page_reads_the_practice_once_however_often_it_prints_it(
    rf, django_assert_num_queries
) -> None:
    Practice.objects.update_or_create(pk=1, defaults={"name": "Feldwerk", "currency": "GBP"})
    template = Template("{{ practice_name }} {{ practice_currency }} {{ practice_name }}")
    with django_assert_num_queries(1):
        assert template.render(RequestContext(rf.get("/"))) == "Feldwerk GBP Feldwerk"
    Practice.objects.update(name="Stillwasser")
    with django_assert_num_queries(1):  # another page, another look
        assert template.render(RequestContext(rf.get("/"))).startswith("Stillwasser")
    with django_assert_num_queries(0):
        assert Template("plain").render(RequestContext(rf.get("/"))) == "plain"
