"""A form that is sent twice makes one row and leads to the same place, whichever form it is."""

import re
from uuid import uuid4

import pytest
from django.urls import reverse

from consult.models import EntryKey, User
from tests.access.test_matrix import MATRIX, _filled
from tests.cast import make_cast
from tests.entries import MAKES_NONE, NAMES, entry
from tests.factories import PASSWORD
from tests.forms import opened

pytestmark = pytest.mark.django_db
OF_THE_LIBRARIES = ("account_", "mfa_", "usersessions_")


def rows_and_place(client, form, sent=None):
    """How many rows a sending made, and where it led."""
    before = form.model.objects.count()
    answer = client.post(form.url, form.again() if sent is None else sent)
    assert answer.status_code == 302, answer.content.decode()[-3000:]
    return form.model.objects.count() - before, answer["Location"]


def test_every_url_that_takes_a_form_is_among_them(client) -> None:
    cast = make_cast()
    found = set()
    for name, (_method, arguments, _expected) in MATRIX.items():
        if name.startswith(OF_THE_LIBRARIES):
            continue
        given = {key: "1" if value.startswith("{") else value for key, value in arguments.items()}
        answer = client.delete(reverse(name, kwargs=given))  # which no view takes
        assert answer.status_code == 405, name
        if "POST" in answer["Allow"]:
            found.add(name)
    assert cast and found == {name.split(" ")[0] for name in NAMES} | set(MAKES_NONE)
    assert not set(NAMES) & set(MAKES_NONE)


@pytest.mark.parametrize("name", NAMES)
def test_a_form_sent_again_makes_no_second_row(name, client) -> None:
    cast = make_cast()
    form = entry(name, cast)
    cast.log_in(client, form.by)
    made, place = rows_and_place(client, form)
    assert made == 1
    for _again in range(2):
        assert rows_and_place(client, form) == (0, place)


@pytest.mark.parametrize(
    "name",
    ["client_add", "contact_add", "property_add", "case_open", "case_open with a reference",
     "firm_add", "person_invite", "instrument_add", "calibration_add", "guideline_add",
     "test_instrument_add"],
)  # fmt: skip
def test_the_same_key_with_other_content_is_another_row(name, client) -> None:
    cast = make_cast()
    form = entry(name, cast)
    cast.log_in(client, form.by)
    assert rows_and_place(client, form)[0] == 1
    assert rows_and_place(client, form, form.again() | form.other)[0] == 1


@pytest.mark.parametrize(
    "name",
    ["reading_add", "ground_check_add", "circuit_add", "appliance_add", "plan_item_add",
     "plan_draft_keep", "report_value_add"],
)  # fmt: skip
def test_a_row_is_known_by_the_key_of_its_form(name, client) -> None:
    """Other content under the key is asked about, and entered when it is sent once more."""
    cast = make_cast()
    form = entry(name, cast)
    cast.log_in(client, form.by)
    assert rows_and_place(client, form)[0] == 1
    prefix = "check-" if name == "ground_check_add" else ""
    assert str(form.model.objects.latest("pk").uid) == form.sent[f"{prefix}key"]
    other = form.again() | form.other
    before = form.model.objects.count()
    answer = client.post(form.url, other)
    assert answer.status_code == 422
    page = answer.content.decode()
    assert "This was entered before, with other content." in page
    assert form.model.objects.count() == before
    key = re.search(rf'name="{prefix}key" value="([0-9a-f-]+)"', page)[1]
    assert key != form.sent[f"{prefix}key"]
    assert rows_and_place(client, form, other | {f"{prefix}key": key})[0] == 1


def test_two_forms_with_the_same_content_are_two_rows(client) -> None:
    """Two homes may look the same on paper; only a form is known again."""
    cast = make_cast()
    form = entry("property_add", cast)
    cast.log_in(client, form.by)
    for _home in range(2):
        assert rows_and_place(client, form, form.again() | {"key": str(uuid4())})[0] == 1


def test_every_form_has_its_key_on_the_page(client) -> None:
    cast = make_cast()
    for name in ("client_add", "contact_add", "property_add", "case_open", "firm_add", "upload",
                 "person_invite", "person_data", "instrument_add", "calibration_add",
                 "guideline_add", "letter_correct", "reading_correct"):  # fmt: skip
        form = entry(name, cast)
        cast.log_in(client, form.by)
        assert client.get(form.url).content.count(b'name="key"') == 1, name
        if name == "letter_correct":
            detail = form.url.removesuffix("correct/")
            assert client.get(detail).content.count(b'name="key"') == 1
    person = User.objects.get(name="Nils Brandt")
    page = client.get(reverse("person_detail", args=[person.pk])).content
    assert page.count(b'name="key"') == 1


def test_a_row_that_is_gone_again_is_made_anew(client) -> None:
    cast = make_cast()
    form = entry("contact_add", cast)
    cast.log_in(client, form.by)
    rows_and_place(client, form)
    cast.case.property.client.contacts.get(name="Rosa Lindqvist").delete()
    assert rows_and_place(client, form)[0] == 1
    assert rows_and_place(client, form)[0] == 0


def test_a_form_that_was_refused_may_be_sent_again_with_its_key(client) -> None:
    cast = make_cast()
    form = entry("firm_add", cast)
    cast.log_in(client, form.by)
    assert client.post(form.url, form.again() | {"name": ""}).status_code == 422
    taken = cast.people["its electrician"].firm.name
    answer = client.post(form.url, form.again() | {"name": taken})
    assert answer.status_code == 422
    assert "already exists" in answer.content.decode()
    assert not EntryKey.objects.exists()
    assert rows_and_place(client, form)[0] == 1


@pytest.mark.parametrize(
    ("name", "field", "word"),
    [
        ("case_open with a reference", "reference", "Another case has this reference."),
        ("person_invite", "email", "Somebody has a log-in with this e-mail."),
        ("instrument_add", "name", "already exists"),
        ("guideline_add", "code", "already exists"),
    ],
)
def test_another_form_with_a_taken_name_is_told_so(name, field, word, client) -> None:
    cast = make_cast()
    form = entry(name, cast)
    cast.log_in(client, form.by)
    rows_and_place(client, form)
    answer = client.post(form.url, form.again() | {"key": str(uuid4())})
    assert answer.status_code == 422
    assert word in str(answer.context["form"].errors[field])


def test_a_changed_person_may_not_take_the_e_mail_of_another(client) -> None:
    cast = make_cast()
    cast.log_in(client, "manager")
    client.post(reverse("account_reauthenticate"), {"password": PASSWORD})
    person, other = cast.people["office"], cast.people["its assessor"]
    page = reverse("person_detail", args=[person.pk])
    sent = opened(client, page) | {"email": other.email.upper()}
    answer = client.post(page, sent)
    assert answer.status_code == 422
    assert "Somebody has a log-in" in str(answer.context["form"].errors["email"])
    sent["email"] = "New.Address@example.org"
    assert client.post(page, sent).status_code == 302
    person.refresh_from_db()
    assert person.email == "new.address@example.org"


def test_the_form_of_a_known_row_has_no_key(client) -> None:
    cast = make_cast()
    cast.log_in(client, "manager")
    for name in ("client_edit", "property_edit", "firm_edit", "person_detail", "instrument_edit"):
        _method, arguments, _expected = MATRIX[name]
        page = client.get(reverse(name, kwargs=_filled(arguments, cast.case)))
        assert b'name="key"' not in page.content, name
