"""The catalogue of remedies: read by all of the practice, changed by who runs it."""

from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse
from django.utils.translation import override

from consult.services.changes import version_of
from mitigation.letters.remedy_words import INSTRUCTIONS, NAMES, remedy_instructions, remedy_name
from mitigation.models import PlanItem, Remedy
from mitigation.services import remedies
from mitigation.services.plan_items import kinds_of_catalogue
from tests.factories import CaseFactory, UserFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def manager(client):
    manager = UserFactory(is_manager=True)
    client.force_login(manager)
    return manager


@pytest.fixture
def in_use() -> Remedy:
    remedy = Remedy.objects.get(key="demand-switch")
    PlanItem.objects.create(case=CaseFactory(), name="R1", position=1, remedy=remedy)
    return remedy


def sent(remedy: Remedy, **other) -> dict[str, object]:
    """What the form of a kind sends when nothing of it is changed."""
    words = {name: getattr(remedy, name) for name in remedies.KIND | {"is_retired"}}
    words |= {"version": version_of(remedy)} | other
    return {name: word for name, word in words.items() if word is not None and word is not False}


def test_the_built_in_kinds_are_listed_as_house_assumptions(client) -> None:
    client.force_login(UserFactory(role="assessor"))
    content = client.get(reverse("remedy_list")).content.decode()
    assert content.count("house assumption<") == 9 and "given with the item" in content
    assert "40 ± 6" in content and "demand switch" in content
    assert reverse("remedy_add") not in content


def test_names_of_built_in_kinds_are_those_of_the_catalogue() -> None:
    known = dict(Remedy.objects.values_list("key", "name"))
    assert known == NAMES
    instructions = set(
        Remedy.objects.exclude(instructions="").values_list("instructions", flat=True)
    )
    assert instructions == set(INSTRUCTIONS)


def test_built_in_words_are_german_for_germans_and_typed_ones_stay() -> None:
    with override("de"):
        assert remedy_name("demand switch") == "Netzabkoppler"
        assert remedy_instructions("Resistance of the bond.") != "Resistance of the bond."
        assert remedy_name("save") == "save"  # a word that the site itself has in German


def test_who_runs_the_practice_puts_a_price(client, manager, in_use) -> None:
    page = reverse("remedy_edit", args=[in_use.pk])
    assert b'name="effect_db"' not in client.get(page).content  # it is in use
    given = {"price": "310.50", "version": version_of(in_use)}
    assert client.post(page, given).status_code == 302
    in_use.refresh_from_db()
    assert in_use.price == Decimal("310.50") and not in_use.is_retired
    assert in_use.history.first().history_user == manager
    assert "310.50" in client.get(reverse("remedy_list")).content.decode()


def test_a_german_types_a_german_price(client, manager, in_use) -> None:
    manager.language = "de"
    manager.save()
    page = reverse("remedy_edit", args=[in_use.pk])
    client.post(page, {"price": "310,50", "version": version_of(in_use)})
    in_use.refresh_from_db()
    assert in_use.price == Decimal("310.50")


def test_a_kind_in_use_is_retired_and_never_changed(client, manager, in_use) -> None:
    page = reverse("remedy_edit", args=[in_use.pk])
    client.post(page, {"is_retired": "on", "version": version_of(in_use), "effect_db": "99"})
    in_use.refresh_from_db()
    assert in_use.is_retired and in_use.effect_db == 40.0
    assert in_use not in Remedy.objects.offered()


@pytest.mark.parametrize(
    ("name", "value"),
    [("effect_db", 20.0), ("spread_db", 1.0), ("works_percent", 50.0), ("acts_on", "spots"),
     ("is_magnetic", True), ("done_by", "client"), ("name", "other"), ("instructions", "other")],
)  # fmt: skip
def test_no_assumption_of_a_kind_in_use_changes(in_use, name, value) -> None:
    manager = UserFactory(is_manager=True)
    with pytest.raises(ValidationError, match="Follow it by another kind"):
        remedies.change_remedy(remedy=in_use, by=manager, **{name: value})
    # The same value is no change.
    remedies.change_remedy(remedy=in_use, by=manager, **{name: getattr(in_use, name)})


def test_a_kind_that_no_item_has_is_changed(client, manager) -> None:
    remedy = Remedy.objects.get(key="bonded-shield")
    page = reverse("remedy_edit", args=[remedy.pk])
    assert client.post(page, sent(remedy, effect_db="16")).status_code == 302
    remedy.refresh_from_db()
    assert (remedy.effect_db, remedy.spread_db, remedy.key) == (16.0, 8.0, "bonded-shield")


def test_an_overtaken_form_is_told_so(client, manager, in_use) -> None:
    given = {"price": "100", "version": version_of(in_use)}
    remedies.change_remedy(remedy=in_use, by=manager, price=Decimal(200))
    assert client.post(reverse("remedy_edit", args=[in_use.pk]), given).status_code == 422
    in_use.refresh_from_db()
    assert in_use.price == 200


def test_a_kind_is_followed_by_a_copy_with_another_assumption(client, manager, in_use) -> None:
    page = reverse("remedy_follow", args=[in_use.pk])
    form = client.get(page).context["form"]
    assert form["code"].value() == "demand-switch-2" and form["effect_db"].value() == "40"
    given = sent(in_use, code="demand-switch-2", effect_db="34")
    assert client.post(page, given).status_code == 302
    follower = Remedy.objects.get(key="demand-switch-2")
    assert (follower.effect_db, follower.spread_db, follower.works_percent) == (34.0, 6.0, 90.0)
    in_use.refresh_from_db()
    assert in_use.is_retired and in_use.effect_db == 40.0
    assert PlanItem.objects.get().remedy == in_use
    assert remedies.next_code(follower) == "demand-switch-3"


def test_a_new_kind_comes_into_case_folders(client, manager) -> None:
    given = {"code": "own-screen", "name": "own screen", "acts_on": "spots", "is_electric": "on",
             "effect_db": "12", "spread_db": "6", "works_percent": "95",
             "done_by": "electrician"}  # fmt: skip
    assert client.post(reverse("remedy_add"), given).status_code == 302
    assert "own-screen" in {kind.key for kind in kinds_of_catalogue()}


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"code": "demand-switch"}, "code"),
        ({"is_electric": ""}, "is_electric"),
        ({"spread_db": ""}, "spread_db"),
        ({"works_percent": "101"}, "works_percent"),
        ({"acts_on": "circuits", "done_by": "client"}, "done_by"),
        ({"price": "-1"}, "price"),
        ({"price": "999999999"}, "price"),
        ({"name": ""}, "name"),
    ],
)
def test_what_is_wrong_is_said_at_its_field(client, manager, wrong, field) -> None:
    given = {"code": "own-screen", "name": "own screen", "acts_on": "spots", "is_electric": "on",
             "effect_db": "12", "spread_db": "6", "works_percent": "95",
             "done_by": "electrician"}  # fmt: skip
    response = client.post(reverse("remedy_add"), given | wrong)
    assert response.status_code == 422
    assert list(response.context["form"].errors) == [field]
    assert not Remedy.objects.filter(name="own screen").exists()


def test_nobody_unlicensed_does_work_on_circuits() -> None:
    on_circuits = Remedy.objects.filter(acts_on="circuits")
    assert set(on_circuits.values_list("done_by", flat=True)) == {"electrician"}
