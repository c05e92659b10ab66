"""Two people with the same form open: the second is told, and nothing is overwritten."""

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse
from django.utils import timezone

from consult.models import Client, Firm, Practice, User
from consult.services import people
from surveys.models import Calibration, Instrument
from tests.factories import (
    PASSWORD,
    CalibrationFactory,
    ClientFactory,
    FirmFactory,
    UserFactory,
)
from tests.forms import opened

pytestmark = pytest.mark.django_db


@pytest.fixture
def manager():
    return UserFactory(name="Ines Feld", is_manager=True)


PAGES = [
    ("person_detail", lambda: UserFactory(role=User.Role.ASSESSOR), User, "name"),
    ("firm_edit", FirmFactory, Firm, "licence"),
    ("practice", lambda: Practice.objects.update_or_create(pk=1)[0], Practice, "signatory"),
    ("instrument_edit", lambda: CalibrationFactory().instrument, Instrument, "maker"),
    ("calibration_edit", CalibrationFactory, Calibration, "certificate"),
]


@pytest.mark.parametrize(("page", "make", "model", "field"), PAGES, ids=[one[0] for one in PAGES])
def test_the_second_is_told(client, manager, page, make, model, field):
    row = make()
    client.force_login(manager)
    address = reverse(page, args=[] if page == "practice" else [row.pk])
    first, second = opened(client, address), opened(client, address)
    assert client.post(address, first | {field: "First"}).status_code == 302
    refused = client.post(address, second | {field: "Second"})
    assert refused.status_code == 422
    assert "meanwhile" in refused.content.decode()
    assert getattr(model.objects.get(pk=row.pk), field) == "First"
    assert client.post(address, opened(client, address) | {field: "Second"}).status_code == 302
    assert getattr(model.objects.get(pk=row.pk), field) == "Second"


def test_a_client_and_the_office_correct_the_same_phone(client):
    person = UserFactory(role=User.Role.CLIENT)
    row = ClientFactory(user=person, phone="1")
    client.force_login(person)
    address = reverse("own_contact")
    said = opened(client, address)
    row.phone = "22"
    row.save()
    refused = client.post(address, said | {"phone": "333"})
    assert refused.status_code == 422 and "meanwhile" in refused.content.decode()
    assert Client.objects.get().phone == "22"
    assert client.post(address, opened(client, address) | {"phone": "333"}).status_code == 302
    assert Client.objects.get().phone == "333"


def test_coming_in_is_no_change_of_a_person(client, manager):
    client.force_login(manager)
    person = UserFactory(role=User.Role.ASSESSOR)
    address = reverse("person_detail", args=[person.pk])
    said = opened(client, address)
    other = type(client)()
    other.post(reverse("account_login"), {"login": person.email, "password": PASSWORD})
    person.refresh_from_db()
    assert person.last_login is not None and person.history.count() == 1
    assert client.post(address, said | {"name": "Jo Feld"}).status_code == 302
    assert [row.name for row in person.history.all()][:1] == ["Jo Feld"]


@pytest.mark.parametrize("act", ["deactivate", "demote"])
def test_two_who_put_each_other_out_leave_one(act, manager):
    """Both pressed the button before either was done."""
    other, now = UserFactory(is_manager=True), timezone.now()

    def put_out(whom: User, by: User) -> None:
        if act == "deactivate":
            people.deactivate_person(user=whom, by=by, now=now)
        else:
            people.change_person(user=whom, by=by, now=now, is_manager=False)

    put_out(other, manager)
    with pytest.raises(ValidationError, match="run the practice any more"):
        put_out(manager, other)
    assert list(User.objects.filter(is_manager=True, is_active=True)) == [manager]


def test_who_becomes_a_client_needs_a_record(manager):
    person, now = UserFactory(email="ida@example.org", role=User.Role.ASSESSOR), timezone.now()
    with pytest.raises(ValidationError, match="enter it there first"):
        people.change_person(user=person, by=manager, now=now, role="client")
    assert User.objects.get(pk=person.pk).role == "assessor"
    row = ClientFactory(email="Ida@example.org")
    people.change_person(user=person, by=manager, now=now, role="client")
    assert Client.objects.get(pk=row.pk).user == person
    people.change_person(user=person, by=manager, now=now, email="moor@example.org")
    assert Client.objects.get(pk=row.pk).user == person
    people.change_person(user=person, by=manager, now=now, role="office")
    assert Client.objects.get(pk=row.pk).user is None
