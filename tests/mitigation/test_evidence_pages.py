"""What remedies achieve and promises kept: the pages of the practice, of clients, of an item."""

import math
import re
from io import BytesIO

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from python_calamine import CalamineWorkbook

from consult.models import Job
from consult.tasks import run_job
from mitigation.models import Case, KeptEffect, KeptPromise, PlanItem, Remedy
from mitigation.planning.achievements import (
    DB_PER_NEPER,
    achievements,
    evidence_json,
    measured_effects,
)
from mitigation.services.evidence import keep_stale, stale_cases
from tests.cast import make_cast
from tests.factories import CaseFactory, UserFactory, assign
from tests.mitigation.test_evidence_command import SHIELD, home, promised
from tests.spreadsheets import one_more_effect

pytestmark = pytest.mark.django_db


def kept(n: int, remedy: str = "bonded-shield", effect: float = -1.5, **more) -> list[Case]:
    """So many homes of a kind, a little apart."""
    cases = [CaseFactory(reference=f"EB-{remedy[:3]}-{at}") for at in range(n)]
    KeptEffect.objects.bulk_create(
        KeptEffect(
            case=case, remedy=remedy, group="electric", n_rows=2, effect=effect + at / 10,
            variance=0.01, **more,
        )
        for at, case in enumerate(cases)
    )  # fmt: skip
    return cases


def page(client, name: str, asker: str = "office") -> str:
    client.force_login(UserFactory(role=asker))
    return client.get(reverse(name)).content.decode()


def test_a_kind_has_its_picture_and_its_result_in_words(client) -> None:
    kept(7, left_out={"at least": 1})
    text = page(client, "evidence_list")
    # Seven homes from -1.5 to -0.9: the mean is -1.2, exp(-1.2) = 0.301.
    assert "In 7 homes 30" in text and "bonded shield" in text.lower()
    assert text.count('class="disc"') == 14  # for wide screens and for phones
    assert text.count('class="mean"') == 2 and text.count('class="next"') == 2
    title = re.search(r"<title>(Bonded shield[^<]*)</title>", text)
    assert title and "7 homes 30" in title.group(1) and "In a next home" in title.group(1)
    assert "7 rows: the reduction is known as “at least” alone" in text
    assert "It is offered as effect of an item beside the assumption of the house" in text


def test_few_homes_are_shown_without_a_mean(client) -> None:
    kept(2)
    text = page(client, "evidence_list")
    assert "2 homes so far: a mean needs three." in text
    assert 'class="mean"' not in text and text.count('class="disc"') == 4


def test_kinds_that_act_together_are_a_kind_of_their_own(client) -> None:
    kept(3, "bonded-shield + demand-switch")
    text = page(client, "evidence_list")
    assert "Bonded shield + demand switch" in text
    assert "It is not offered as effect: an item has one kind." in text


def test_of_items_on_sources_it_is_said_why_nothing_is_offered(client) -> None:
    kept(6, "demand-switch")
    text = page(client, "evidence_list")
    assert "what happened at the spot is not what it does to its circuit or appliance" in text


def test_an_assessor_sees_links_of_their_own_cases_alone(client) -> None:
    own, *others = kept(5)
    assessor = UserFactory(role="assessor")
    assign(assessor, own.property)
    client.force_login(assessor)
    text = client.get(reverse("evidence_list")).content.decode()
    assert reverse("case_detail", args=[own.reference]) in text
    assert not [case.reference for case in others if case.reference in text]
    assert text.count("a home of somebody else") == 4
    export = client.get(reverse("evidence_list_export"))
    rows = CalamineWorkbook.from_filelike(BytesIO(export.content)).get_sheet_by_index(1).to_python()
    assert sorted(row[2] for row in rows[1:]) == ["", "", "", "", own.reference]


def test_the_office_sees_every_link_and_the_spreadsheet_every_home(client) -> None:
    cases = kept(60)
    text = page(client, "evidence_list")
    assert text.count("EB-bon-") and "10 more are in the picture and in the spreadsheet." in text
    export = client.get(reverse("evidence_list_export"))
    rows = CalamineWorkbook.from_filelike(BytesIO(export.content)).get_sheet_by_index(1).to_python()
    assert {row[2] for row in rows[1:]} == {case.reference for case in cases}


@pytest.mark.parametrize("name", ["evidence_list", "promise_list", "client_evidence"])
def test_pages_cost_the_same_for_1_home_and_for_20(client, name) -> None:
    cast = make_cast()
    cast.log_in(client, "its client" if name == "client_evidence" else "its assessor")
    counts = []
    for n in (1, 20):
        for at in range(n):
            one_more_effect(cast, 100 * n + at)
        client.get(reverse(name))
        with CaptureQueriesContext(connection) as queries:
            assert client.get(reverse(name)).status_code == 200
        counts.append(len(queries))
    assert counts[0] == counts[1]


def test_what_changed_is_said_and_computed_on_demand(client) -> None:
    case = home(1, 40.0, 8.0, SHIELD)
    keep_stale(now=timezone.now())
    assert "changed since" not in page(client, "evidence_list")
    case.items.update(state=PlanItem.State.DONE_DIFFERENTLY)
    for name in ("evidence_list", "promise_list"):
        text = client.get(reverse(name)).content.decode()
        assert "1 case changed since it was computed" in text and f">{case.reference}</a>" in text
    Job.objects.all().delete()
    client.post(reverse("evidence_renew"))
    run_job(Job.objects.get().pk)
    assert stale_cases() == []
    client.post(reverse("evidence_renew"))
    assert Job.objects.count() == 1  # nothing is left to compute


# -- Promises ------------------------------------------------------------------------------------


@pytest.fixture
def promises() -> list[Case]:
    """Five homes with a promise each, of which the last did not keep it."""
    cases = [home(at, 40.0, 0.6 if at < 4 else 9.0, SHIELD) for at in range(5)]
    for case in cases:
        promised(case, 0.65, accepted=["R1", "R2"])
    keep_stale(now=timezone.now())
    return cases


def test_promises_are_shown_as_they_are(client, promises) -> None:
    text = page(client, "promise_list")
    assert "80" in text and "80 to 100 %: 4 of 5 met" in text
    assert "foretold 80 to 100 %: 4 of 5 met" in text  # heard with the picture
    broken = promises[-1].reference
    assert broken in text and "higher than foretold, target missed" in text
    assert not [case.reference for case in promises[:-1] if case.reference in text]
    brier = (4 * 0.1**2 + 0.9**2) / 5
    assert f"{brier:.3f}" in text


def test_an_assessor_reads_only_broken_promises_of_their_own_cases(client, promises) -> None:
    text = page(client, "promise_list", "assessor")
    assert promises[-1].reference not in text and "None in the cases that you may open." in text


def test_broken_is_outside_of_the_interval_or_a_target_missed_against_the_odds(promises) -> None:
    row = KeptPromise.objects.order_by("case").first()
    for change, is_broken in [
        ({"inside": True, "met": True, "probability": 0.9}, False),
        ({"inside": True, "met": False, "probability": 0.5}, True),
        ({"inside": True, "met": False, "probability": 0.4}, False),
        ({"inside": False, "met": True, "probability": 0.9}, True),
    ]:
        KeptPromise.objects.filter(pk=row.pk).update(**change)
        assert KeptPromise.objects.broken().filter(pk=row.pk).exists() is is_broken


# -- Clients -------------------------------------------------------------------------------------


def test_a_client_reads_of_five_homes_and_not_of_four(client) -> None:
    kept(4, "demand-switch")
    cases = kept(5)
    text = page(client, "client_evidence", "client")
    assert "Bonded shield" in text and "Demand switch" not in text
    assert "In 5 homes the electric field at the spot fell by 7" in text  # exp(-1.3) = 27 % left
    for case in cases:
        assert case.reference not in text and case.property.client.name not in text
        assert case.property.address.split("\n")[0] not in text


def test_a_rise_and_what_is_not_certain_are_said_so(client) -> None:
    kept(6, "shielded-surface", effect=0.6)
    kept(6, "bonded-shield", effect=-0.25)
    text = page(client, "client_evidence", "client")
    assert "the electric field at the spot rose by" in text
    assert "it is not certain that it changed the electric field" in text


def test_a_client_reads_of_promises_from_five_homes_on(client, promises) -> None:
    text = page(client, "client_evidence", "client")
    assert "Of 5 values that we foretold, 80" in text
    assert not [case.reference for case in promises if case.reference in text]
    KeptPromise.objects.filter(case=promises[0]).delete()
    text = page(client, "client_evidence", "client")
    assert "There are not homes enough yet to say how our promises were kept." in text


def test_the_first_page_of_a_client_leads_to_it(client) -> None:
    assert reverse("client_evidence") in page(client, "client_home", "client")


# -- An item -------------------------------------------------------------------------------------


@pytest.fixture
def item_page(client) -> str:
    client.force_login(UserFactory())
    case = CaseFactory(reference="EB-P7")
    return reverse("plan_item_add", args=[case.reference, "bonded-shield"])


def test_five_homes_are_offered_as_effect_and_a_person_chooses(client, item_page) -> None:
    kept(4)
    assert 'name="effect"' not in client.get(item_page).content.decode()
    KeptEffect.objects.all().delete()
    Case.objects.filter(reference__startswith="EB-bon").delete()
    kept(5)
    (kind,) = achievements(KeptEffect.objects.order_by("case"))
    over = kind.pooled()
    text = client.get(item_page).content.decode()
    effect = round(-20 * math.log10(math.e) * over.mean, 1)
    assert f"measured in 5 homes, electric fields and body voltage: {effect:g} dB" in text
    form = client.get(item_page).context["form"]
    assert form["effect"].value() == "assumed"  # nothing is taken by itself
    sent = {"key": form["key"].value(), "cost": "900"}
    client.post(item_page, sent)
    assert PlanItem.objects.latest("pk").effect_db is None
    form = client.get(item_page).context["form"]
    client.post(item_page, sent | {"key": form["key"].value(), "effect": "electric"})
    item = PlanItem.objects.latest("pk")
    # The interval of the next home, as that of a normal distribution.
    spread = DB_PER_NEPER * (over.next_high - over.next_low) / 2 / 1.959964
    assert item.effect_db == effect and item.spread_db == round(spread, 1)
    edit = reverse("plan_item_edit", args=["EB-P7", item.pk])
    form = client.get(edit).context["form"]
    assert form["effect"].value() == "electric" and form["effect_db"].value() is None


def test_a_measured_effect_and_a_typed_one_exclude_each_other(client, item_page) -> None:
    kept(5)
    form = client.get(item_page).context["form"]
    sent = {"key": form["key"].value(), "effect": "electric", "effect_db": "20", "spread_db": "3"}
    refused = client.post(item_page, sent)
    assert refused.status_code == 422 and not PlanItem.objects.exists()
    assert "Choose the measured effect or type another one." in refused.content.decode()


def test_an_item_on_sources_is_never_offered_what_happened_at_spots(client) -> None:
    kept(9, "demand-switch")
    client.force_login(UserFactory())
    case = CaseFactory(reference="EB-P8")
    address = reverse("plan_item_add", args=[case.reference, "demand-switch"])
    text = client.get(address).content.decode()
    assert 'name="effect"' not in text and "measured in" not in text
    assert measured_effects(Remedy.objects.get(key="demand-switch")) == []
    kept(9, "moved-bed")
    assert measured_effects(Remedy.objects.get(key="moved-bed")) == []


def test_the_page_and_the_command_say_the_same(client) -> None:
    kept(6)
    (kind,) = evidence_json()["remedies"]
    text = page(client, "evidence_list")
    assert f"{kind['homes']} homes" in text
    assert f"{100 * math.exp(kind['mean_ln']):.0f}" in text
