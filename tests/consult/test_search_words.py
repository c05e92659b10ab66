"""Lists are searched by words however they are typed, and by a few of them alone."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from consult.models import User
from tests.factories import (
    BASELINE_DAY,
    ClientFactory,
    PropertyFactory,
    UserFactory,
    VisitFactory,
)

pytestmark = pytest.mark.django_db
TYPED = ["özgür", "ÖZGÜR", "Ozgur", "şahin", "MÖSSBAUER", "mößbauer", "sahin ümit", "&", "📮"]


@pytest.fixture
def manager(client):
    user = UserFactory(name="Ines Feld", is_manager=True)
    client.force_login(user)
    return user


@pytest.fixture
def somebody():
    """One name, as client, as somebody who logs in and at the home of a visit; and another."""
    name = "Özgür & Ümit Şahin-Mößbauer 📮"
    row = ClientFactory(name=name)
    VisitFactory(property=PropertyFactory(client=row), date=BASELINE_DAY)
    VisitFactory(property=PropertyFactory(client=ClientFactory(name="Ida Moor")))
    UserFactory(name=name, role=User.Role.ASSESSOR)
    return name


@pytest.mark.parametrize("page", ["client_list", "person_list", "visit_list"])
@pytest.mark.parametrize("typed", TYPED)
def test_found_however_it_is_typed(client, manager, somebody, page, typed):
    said = client.get(reverse(page), {"q": typed}).content.decode()
    assert said.count("Mößbauer") == 1
    assert "Ida Moor" not in said


@pytest.mark.parametrize("page", ["client_list", "person_list", "visit_list"])
@pytest.mark.parametrize("typed", ["özgüra", "%", "_", "Mößbauer Ida", "'"])
def test_not_found(client, manager, somebody, page, typed):
    said = client.get(reverse(page), {"q": typed}).content.decode()
    assert "Mößbauer 📮" not in said


@pytest.mark.parametrize("page", ["client_list", "person_list", "visit_list", "case_list"])
def test_a_pasted_text_makes_no_endless_question(client, manager, somebody, page):
    with CaptureQueriesContext(connection) as asked:
        assert client.get(reverse(page), {"q": "a b c d e f g h i j k l"}).status_code == 200
    assert max(len(one["sql"]) for one in asked) < 6_000
