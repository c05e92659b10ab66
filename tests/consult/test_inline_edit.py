"""An entry is changed where it stands, and on a page of its own without script."""

import pytest
from django.urls import reverse

from consult.models import Client
from tests.factories import ClientFactory, UserFactory

pytestmark = pytest.mark.django_db
IN_PART = {"HTTP_HX_REQUEST": "true"}


@pytest.fixture
def edited(client) -> Client:
    client.force_login(UserFactory(role="office"))
    return ClientFactory(name="Ada Brook")


def answer(client, row: Client, **fields) -> dict[str, str]:
    form = client.get(reverse("client_edit", args=[row.pk])).context["form"]
    return {**{name: form[name].value() or "" for name in form.fields}, **fields}


def test_a_control_gets_the_form_alone_and_everybody_else_the_page(client, edited) -> None:
    address = reverse("client_edit", args=[edited.pk])
    part, page = client.get(address, **IN_PART), client.get(address)
    assert part.content.lstrip().startswith(b"<form") and b"<html" not in part.content
    assert part.content.count(b"autofocus") == 1
    assert b"<html" in page.content and b"hx-post" not in page.content
    assert "HX-Request" in part["Vary"] and "HX-Request" in page["Vary"]


def test_what_is_wrong_stands_in_the_form_where_it_was_opened(client, edited) -> None:
    wrong = answer(client, edited, email="nobody")
    refused = client.post(reverse("client_edit", args=[edited.pk]), wrong, **IN_PART)
    assert refused.status_code == 422
    assert refused.content.lstrip().startswith(b"<form") and b"nobody" in refused.content
    assert Client.objects.get(pk=edited.pk).email == edited.email


def test_what_was_kept_comes_back_as_the_page_it_changed(client, edited) -> None:
    right = answer(client, edited, name="Ada Brook-Lindt")
    kept = client.post(reverse("client_edit", args=[edited.pk]), right, **IN_PART)
    assert (kept.status_code, kept["HX-Redirect"]) == (
        200,
        reverse("client_detail", args=[edited.pk]),
    )
    assert Client.objects.get(pk=edited.pk).name == "Ada Brook-Lindt"
