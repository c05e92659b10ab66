"""What stands in the form of a new home before anybody types."""

import pytest
from django.urls import reverse

from consult.models import Practice
from tests.factories import ClientFactory, PropertyFactory, UserFactory

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("country", "supply"),
    [("US", ("120", "60", "2")), ("DE", ("230", "50", "1")), ("", ("230", "50", "1"))],
)
def test_a_new_home_has_the_supply_of_the_practice_s_country(client, country, supply) -> None:
    Practice.objects.all().delete()
    if country:
        Practice.objects.create(pk=1, name="Fieldwater", country=country)
    client.force_login(UserFactory(role="office"))
    form = client.get(reverse("property_add", args=[ClientFactory().pk])).context["form"]
    names = ("supply_voltage_v", "frequency_hz", "phases")
    assert tuple(str(form[name].value()) for name in names) == supply
    assert form["country"].value() == country


def test_a_home_that_is_there_keeps_its_own(client) -> None:
    Practice.objects.update_or_create(pk=1, defaults={"name": "Fieldwater", "country": "US"})
    home = PropertyFactory(country="GB", supply_voltage_v=240.5, frequency_hz=50.0)
    client.force_login(UserFactory(role="office"))
    form = client.get(reverse("property_edit", args=[home.pk])).context["form"]
    shown = [form[name].value() for name in ("country", "supply_voltage_v", "frequency_hz")]
    assert shown == ["GB", 240.5, 50]
    assert str(shown[2]) == "50"
