"""Requests that no page of ours makes."""

import pytest
from django.urls import reverse

from tests.factories import UserFactory

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("address", ["/cases/?q=%00", "/visits/?q=a%00b", "/cases/a%00b/"])
def test_an_address_with_a_zero_byte_is_refused(client, address) -> None:
    client.force_login(UserFactory(role="office"))
    assert client.get(address).status_code == 400


def test_every_other_address_is_answered(client) -> None:
    client.force_login(UserFactory(role="office"))
    assert client.get(reverse("case_list"), {"q": "100 %"}).status_code == 200
