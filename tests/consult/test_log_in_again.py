"""A log-in that ended while a page was open: nobody is left on a blank page, or in the dark."""

import pytest
from django.urls import reverse

from mitigation.models import Note
from tests.factories import PASSWORD, UserFactory, compared_case

pytestmark = pytest.mark.django_db
HOST = "http://testserver"


@pytest.fixture
def office():
    return UserFactory()


def log_in(client, person, address):
    """Through the log-in page that `address` is, with what its form hides."""
    page = client.get(address)
    fields = {
        "login": person.email,
        "password": PASSWORD,
        "next": page.context["redirect_field_value"],
    }
    return page.content.decode(), client.post(address, fields, follow=True)


def test_a_note_that_was_sent_too_late(client, office) -> None:
    """Back on the case, told that the note is not there."""
    case = compared_case()
    page = reverse("case_detail", args=[case.reference])
    sent = client.post(
        reverse("note_add", args=[case.reference]),
        {"text": "Dog in the yard"},
        headers={"referer": f"{HOST}{page}?room=Bedroom"},
    )
    said, after = log_in(client, office, sent.url)
    assert "what you sent was not saved" in said
    assert (after.status_code, after.request["PATH_INFO"]) == (200, page)
    assert after.request["QUERY_STRING"] == "room=Bedroom"
    assert not Note.objects.exists()


def test_a_page_asked_for_too_late_is_the_one_that_comes(client, office) -> None:
    page = reverse("case_detail", args=[compared_case().reference])
    said, after = log_in(client, office, client.get(page).url)
    assert "was not saved" not in said
    assert after.request["PATH_INFO"] == page


@pytest.mark.parametrize("method", ["get", "post"])
def test_a_part_of_a_page(client, office, method) -> None:
    case = compared_case()
    page = reverse("case_detail", args=[case.reference])
    headers = {"hx-request": "true", "hx-current-url": f"{HOST}{page}"}
    answer = getattr(client, method)(reverse("visit_plan", args=[case.reference]), headers=headers)
    assert answer.status_code == 204
    said, after = log_in(client, office, answer["HX-Redirect"])
    assert ("was not saved" in said) == (method == "post")
    assert after.request["PATH_INFO"] == page


@pytest.mark.parametrize(
    "named", ["https://elsewhere.example/x", "//elsewhere.example/", "", "\\", f"{HOST}//"]
)
def test_nobody_is_sent_elsewhere(client, office, named) -> None:
    address = reverse("note_add", args=[compared_case().reference])
    for headers in ({"referer": named}, {"hx-request": "true", "hx-current-url": named}):
        sent = client.post(address, headers=headers)
        way = sent.headers.get("HX-Redirect") or sent.headers["Location"]
        assert way == f"{reverse('account_login')}?next=%2F"


def test_a_form_s_address_opened_as_a_page_says_so(client, office) -> None:
    client.force_login(office)
    page = client.get(reverse("note_add", args=[compared_case().reference]))
    assert (page.status_code, page["Allow"]) == (405, "POST")
    assert "To the first page" in page.content.decode()
    assert "no-store" in page["Cache-Control"]
