"""A log-in ends when nobody does anything, and a page left open does nothing."""

import re

import pytest
from django.urls import reverse

from consult.middleware import LAST_ACT
from consult.models import User
from tests.factories import PASSWORD, FirmFactory, UserFactory
from tests.project.files import ROOT

pytestmark = pytest.mark.django_db
BY_PAGE = {"Ebbmark-Asked-By-Page": "1"}


def wait(client, minutes: float) -> None:
    session = client.session
    session[LAST_ACT] -= int(minutes * 60)
    session.save()


@pytest.mark.parametrize(
    ("role", "minutes"), [("office", 30), ("assessor", 720), ("electrician", 720), ("client", 120)]
)
def test_a_log_in_ends_after_its_role_s_time(client, role, minutes) -> None:
    user = UserFactory(role=role, firm=FirmFactory() if role == "electrician" else None)
    client.force_login(user)
    page = reverse("own_account")
    assert client.get(page).status_code == 200
    wait(client, minutes - 1)
    assert client.get(page).status_code == 200
    wait(client, minutes + 1)
    assert client.get(page).url == f"{reverse('account_login')}?next={page}"
    assert "_auth_user_id" not in client.session


def test_whoever_was_logged_out_is_told_and_comes_back_to_the_page(client) -> None:
    user = UserFactory()
    client.force_login(user)
    page = reverse("person_list")
    client.get(page)
    wait(client, 31)
    address = client.get(page).url
    shown = client.get(address)
    assert "because nothing happened here" in shown.content.decode()
    fields = {"login": user.email, "password": PASSWORD}
    fields["next"] = shown.context["redirect_field_value"]
    assert client.post(address, fields).url == page


def test_a_page_left_open_keeps_nobody_in(client) -> None:
    client.force_login(UserFactory(role=User.Role.ASSESSOR))
    page = reverse("own_account")
    client.get(page)
    wait(client, 719)
    assert client.get(page, headers=BY_PAGE).status_code == 200
    wait(client, 2)
    assert client.get(page, headers=BY_PAGE).status_code == 302


def test_every_page_that_asks_again_by_itself_says_so() -> None:
    asking = [
        tag
        for path in (ROOT / "templates").rglob("*.html")
        for tag in re.findall(r"<[^<>]*hx-trigger=\"every [^>]*>", path.read_text())
    ]
    assert len(asking) >= 4
    assert not [tag for tag in asking if "Ebbmark-Asked-By-Page" not in tag]
