"""Pages word their cautions as the trade of the home's country, or the practice's, does."""

import pytest
from django.urls import reverse

from consult.models import User
from consult.models.people import current_practice
from mitigation.models import PlanItem, Remedy
from mitigation.pages.remedies import catalogue_columns
from tests.factories import CaseFactory, FirmFactory, PropertyFactory, UserFactory, VisitFactory

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("country", "electrician", "outlet"),
    [
        ("GB", "call a registered electrician", "at a faulty socket test"),
        ("US", "call a licensed electrician", "at a faulty outlet test"),
        ("DE", "call a licensed electrician", "at a faulty outlet test"),
    ],
)
def test_a_sheet_for_a_visit(client, country, electrician, outlet) -> None:
    client.force_login(UserFactory())
    visit = VisitFactory(property=PropertyFactory(country=country), sealed_at=None)
    page = client.get(reverse("visit_sheet", args=[visit.pk])).content.decode()
    assert electrician in page and outlet in page


@pytest.mark.parametrize(
    ("country", "earth", "code"),
    [
        ("US", "Never disconnect an equipment ground", "under the local code"),
        ("GB", "Never disconnect a protective earth", "under the wiring regulations"),
        ("DE", "Never disconnect a protective earth", "under the local code"),
    ],
)
def test_what_an_electrician_reads(client, country, earth, code) -> None:
    practice = current_practice()
    practice.country = country
    practice.save()
    client.force_login(UserFactory(role=User.Role.ELECTRICIAN, firm=FirmFactory()))
    page = client.get(reverse("order_list")).content.decode()
    assert earth in page and code in page


def test_german_keeps_its_own_words(client) -> None:
    client.force_login(UserFactory(language="de"))
    visit = VisitFactory(property=PropertyFactory(country="GB"), sealed_at=None)
    page = client.get(reverse("visit_sheet", args=[visit.pk])).content.decode()
    assert "Steckdose" in page


def test_who_does_a_remedy(client) -> None:
    """The catalogue speaks as the practice's country does, a plan as that of the home."""
    practice = current_practice()
    practice.country = "GB"
    practice.save()
    client.force_login(UserFactory())
    catalogue = client.get(reverse("remedy_list")).content.decode()
    assert "a registered electrician" in catalogue and "licensed electrician" not in catalogue
    columns = dict(catalogue_columns(practice))
    cells = {columns["done by"]({"remedy": remedy}) for remedy in Remedy.objects.all()}
    assert cells == {
        "a registered electrician", "anybody; bonding by a registered electrician", "the client"
    }  # fmt: skip
    for country, words in (("GB", "a registered electrician"), ("US", "a licensed electrician")):
        case = CaseFactory(property=PropertyFactory(country=country))
        remedy = Remedy.objects.get(key="demand-switch")
        PlanItem.objects.create(case=case, name="R1", position=1, remedy=remedy)
        plan = client.get(reverse("case_plan", args=[case.reference])).content.decode()
        assert words in plan
