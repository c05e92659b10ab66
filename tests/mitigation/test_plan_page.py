"""The plan's page of a case: sources, items, what is foretold, the cheapest plan, versions."""

import re
from decimal import Decimal
from functools import partial

import numpy as np
import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import override

from consult.letters.bars import Bar, BarChart, signed_bars_svg
from consult.letters.stairs import Stair, StairChart, stairs_svg
from consult.models import Job
from consult.services.guards import unguarded
from consult.tasks import run_job
from mitigation.calc.selection import choose
from mitigation.models import CaseVisit, PlanDraft, PlanItem, Remedy, TrialFit
from mitigation.pages.plan import read_plan
from mitigation.planning import plans
from mitigation.planning.contributions import OUTSIDE, contributions_of, shares_of
from mitigation.planning.suggestions import suggestions_of
from mitigation.services.imports import import_case_folder
from mitigation.services.plan_items import add_item, change_item, choose_items
from surveys.models import Circuit, Reading, Spot
from tests.factories import UserFactory, VisitFactory, assign
from tests.mitigation.planned_homes import (
    THREE,
    every_state,
    field_rows,
    folder,
    opposed_circuits,
    sampled,
    three_circuits,
    upload,
)

pytestmark = pytest.mark.django_db
HTMX = {"HX-Request": "true"}


def bring_in(files):
    return import_case_folder(source=upload(files), by=None, now=timezone.now()).case


@pytest.fixture
def three():
    return sampled(bring_in(three_circuits()))


@pytest.fixture
def opposed():
    return sampled(bring_in(opposed_circuits()))


@pytest.fixture
def office(client):
    client.force_login(UserFactory(role="office"))
    return client


def text_of(answer):
    """The words of an answer, without tags."""
    plain = re.sub(r"<svg.*?</svg>|<[^>]+>", " ", answer.content.decode(), flags=re.S)
    return re.sub(r"\s+", " ", plain.replace("\u00a0", " ").replace("&gt;", ">"))


def page_of(browser, case, **headers):
    return browser.get(reverse("case_plan", args=[case.reference]), headers=headers)


def tick(browser, case, *names, shown=("R1", "R2", "R3", "R4", "R5"), **headers):
    url = reverse("plan_choose", args=[case.reference])
    return browser.post(url, {"item": names, "shown": shown}, headers=headers)


def choice(browser, case, **asked):
    return browser.get(reverse("plan_choice", args=[case.reference]), asked)


def row_at(page, spot, measurand="electric-field-potential-free"):
    (row,) = [row for row in page.rows if (row.spot.name, row.measurand) == (spot, measurand)]
    return row


# -- What each source adds ----------------------------------------------------------------------


def test_contributions_add_up_to_the_field(three) -> None:
    """One phase: a source's part along the sum is a·S/|S|, with S = (42.3, 10.1, 4.6) V/m."""
    parts = contributions_of(row_at(read_plan(three), "bed head"))
    whole = np.array([42.3, 10.1, 4.6])
    assert [part.source for part in parts] == ["f1", "f2", "f3", OUTSIDE]
    for part in parts[:3]:
        wanted = np.dot(THREE[part.source.upper()], whole) / np.linalg.norm(whole)
        assert part.adds.median == pytest.approx(wanted, abs=0.1)  # the display shows 0.1 V/m
        assert part.adds.low < wanted < part.adds.high
    total = sum(part.adds.median for part in parts)
    assert total == pytest.approx(np.linalg.norm(whole), rel=0.01)


def test_a_circuit_that_cancels_takes_off_and_opening_it_raises(opposed) -> None:
    """24 against 20 and 2 V/m: without F2 the first axis has 26.3 V/m instead of 6.3."""
    parts = {part.source: part for part in contributions_of(row_at(read_plan(opposed), "bed head"))}
    assert parts["f2"].cancels and parts["f2"].adds.high < 0.0
    assert parts["f2"].opening_raises == 1.0
    field = np.linalg.norm([24.0 + 2.0 + 0.3, 3.6, 1.3])
    assert parts["f2"].opened.median == pytest.approx(field, rel=0.02)
    # Opening the larger alone makes it worse, too.
    assert not parts["f1"].cancels and parts["f1"].opening_raises == 1.0
    assert parts["f3"].opening_raises == 0.0


def test_the_page_says_what_each_source_does(opposed, office) -> None:
    page = page_of(office, opposed)
    words = text_of(page)
    assert "F2 (bedroom lights) cancels others: opening it alone raises the field, to 26" in words
    assert "Opening F1 (bedroom sockets) alone raises the field, to 17.7" in words
    assert "The model fits within the noise of the readings." in words
    assert "Magnetic fields are not divided among sources: only states that were read" in words
    assert "F1 off 60 nT" in words and "all on 220 nT" in words
    assert "No trial was made at these spots" in words and "Study, desk" in words
    title = re.findall(r"<title>(What each source adds.*?)</title>", page.content.decode())[0]
    assert "F1 (bedroom sockets) adds 23.1" in title
    assert "F2 (bedroom lights) takes off 18.5" in title
    assert "which no switch removes" in title


def test_too_few_states_are_said(office) -> None:
    states = [(), ("F1",), ("F2",), ("F3",), ()]
    case = sampled(bring_in(folder(field_rows("bed head", THREE, states))))
    words = text_of(page_of(office, case))
    assert "Too few states to check the model: 4 % assumed, read three more states." in words


def test_a_house_that_does_not_obey_is_said(office) -> None:
    """Each alone makes 5 V/m and all together 50: nothing that adds up does that."""
    rows = [*field_rows("bed head", THREE, every_state(list(THREE)))]
    wrong = [re.sub(r"Probe E,[^V]*,,V/m,trial,F1; F[23]$", "Probe E,50.0,50.0,50.0,,V/m,trial,"
                    + row.rsplit(",", 1)[1], row) for row in rows]  # fmt: skip
    assert wrong != rows
    case = sampled(bring_in(folder(wrong)))
    page = read_plan(case)
    assert row_at(page, "bed head").is_misfit
    assert "does not obey the model here (misfit)" in text_of(page_of(office, case))


def test_a_house_in_another_state_is_said(office) -> None:
    """The finding is 70 V/m on the first axis, all on of the trial 42: more than 14 % apart."""
    rows = field_rows("bed head", THREE, every_state(list(THREE)))
    rows[0] = re.sub(r"Probe E,[\d.]+", "Probe E,70.0", rows[0])
    case = sampled(bring_in(folder(rows)))
    words = text_of(page_of(office, case))
    assert "differ by more than placement explains: the house was in another state" in words
    page = page_of(office, sampled(bring_in(three_circuits(reference="EB-P7"))))
    assert "the house was in another state" not in text_of(page)


def test_a_finding_beyond_the_range_is_unknown_and_does_not_count(office) -> None:
    rows = field_rows("bed head", THREE, every_state(list(THREE)))
    rows[0] = re.sub(r"Probe E,[\d.]+", "Probe E,>2000", rows[0])
    case = sampled(bring_in(folder(rows, remedies="item,remedy,room,cost\nR1,bonded-shield,"
                                                  "Bedroom,500\n")))  # fmt: skip
    words = text_of(page_of(office, case))
    assert "The finding is beyond the range of the meter: measure it within range first." in words
    assert "does not count for the choice" in words
    words = text_of(choice(office, case))
    assert "No row counts" in words and "beyond the range of the meter" in words


# -- Items --------------------------------------------------------------------------------------


def test_an_item_is_entered_by_hand_with_the_fields_of_its_kind(three, office) -> None:
    url = reverse("plan_item_add", args=[three.reference, "demand-switch"])
    form = office.get(url).content.decode()
    assert 'name="circuits"' in form and 'name="appliances"' not in form
    assert "40 dB with a spread of 6 dB" in form
    assert office.post(url, {"cost": "10"}).status_code == 422  # no circuit
    circuit = Circuit.objects.get(name="F3")
    answer = office.post(url, {"circuits": [circuit.pk], "cost": "1250.50", "note": "in the hall"})
    assert answer.status_code == 302
    item = three.items.get(name="R5")
    assert item.cost == Decimal("1250.50") and list(item.circuits.all()) == [circuit]
    words = text_of(page_of(office, three))
    assert "R5: demand switch F3 1250.50; a licensed electrician in the hall" in words


def test_a_kind_without_an_effect_asks_for_one(three, office) -> None:
    url = reverse("plan_item_add", args=[three.reference, "moved-bed"])
    spot = Spot.objects.get(name="bed head")
    assert office.post(url, {"spots": [spot.pk]}).status_code == 422
    sent = {"spots": [spot.pk], "effect_db": "12.5", "spread_db": "2", "works_percent": "101"}
    assert "0 to 100" in office.post(url, sent).content.decode()
    assert office.post(url, sent | {"works_percent": ""}).status_code == 302
    item = three.items.get(name="R5")
    assert item.effect_db == 12.5 and item.room == spot.room  # the room is that of the spots


def test_a_form_comes_in_place_and_leads_back(three, office) -> None:
    url = reverse("plan_item_add", args=[three.reference, "bonded-shield"])
    part = office.get(url, headers=HTMX).content.decode()
    assert "<html" not in part and "hx-post" in part
    answer = office.post(url, {"cost": "5"}, headers=HTMX)
    assert answer["HX-Redirect"] == reverse("case_plan", args=[three.reference])


def test_an_item_is_changed_once_and_taken_out(three, office) -> None:
    item = three.items.get(name="R1")
    url = reverse("plan_item_edit", args=[three.reference, item.pk])
    version = re.search(r'name="version" value="(\d+)"', office.get(url).content.decode())[1]
    sent = {"version": version, "circuits": [item.circuits.get().pk], "cost": "310"}
    assert office.post(url, sent).status_code == 302
    item.refresh_from_db()
    assert item.cost == 310
    assert office.post(url, sent | {"cost": "320"}).status_code == 422  # somebody was first
    remove = reverse("plan_item_remove", args=[three.reference, item.pk])
    office.post(remove)
    assert not three.items.filter(name="R1").exists()
    decided = three.items.get(name="R2")
    PlanItem.objects.filter(pk=decided.pk).update(state="accepted")
    assert (
        reverse("plan_item_edit", args=[three.reference, decided.pk])
        not in page_of(office, three).content.decode()
    )
    office.post(reverse("plan_item_remove", args=[three.reference, decided.pk]))
    assert three.items.filter(name="R2").exists()


def test_an_item_of_another_case_has_no_address_in_this_one(three, office) -> None:
    other = bring_in(three_circuits(reference="EB-P9"))
    item = other.items.get(name="R1")
    assert office.get(reverse("plan_item_edit", args=[three.reference, item.pk])).status_code == 404


def test_the_same_key_with_other_circuits_is_refused(three) -> None:
    by, kind = UserFactory(role="office"), Remedy.objects.get(key="demand-switch")
    first, second = Circuit.objects.filter(name__in=["F1", "F2"]).order_by("name")
    uid = "0b7e6a52-5a5c-4f1e-9d36-2f4a3c1f8d10"
    add_item(case=three, by=by, uid=uid, remedy=kind, circuits=[first])
    again = add_item(case=three, by=by, uid=uid, remedy=kind, circuits=[first])
    assert again.name == "R5"
    with pytest.raises(ValidationError, match="with other content"):
        add_item(case=three, by=by, uid=uid, remedy=kind, circuits=[second])


# -- What is offered ----------------------------------------------------------------------------


def test_strong_sources_and_sleeping_rooms_are_offered(opposed) -> None:
    PlanItem.objects.filter(case=opposed).delete()
    page = read_plan(opposed)
    offered = [
        (row.remedy.key, (row.circuit or row.room).name)
        for row in suggestions_of(page.planning, Remedy.objects.offered())
    ]
    assert ("demand-switch", "F1") in offered and ("demand-switch", "F2") in offered
    # F1 makes 160 of 220 nT; F2 not a tenth: 20 of 220.
    assert ("wiring-correction", "F1") in offered and ("wiring-correction", "F2") not in offered
    assert ("bonded-shield", "Bedroom") in offered
    assert not [place for _kind, place in offered if place in ("F4", "Study")]
    assert "moved-bed" not in dict(offered)  # its effect is given with each item
    flux = row_at(page, "bed head", "magnetic-flux-density")
    assert shares_of(flux) == pytest.approx({"f1": 160 / 220, "f2": 20 / 220})


def test_what_is_offered_is_put_in_once_with_the_price_of_the_list(opposed, office) -> None:
    Remedy.objects.filter(key="shielded-cable").update(price="850.00")
    url = reverse("plan_put_in", args=[opposed.reference])
    key = next(
        row.key
        for row in suggestions_of(read_plan(opposed).planning, Remedy.objects.offered())
        if row.remedy.key == "shielded-cable" and row.circuit.name == "F1"
    )
    office.post(url, {"offer": key})
    item = opposed.items.latest("pk")
    assert (item.name, item.remedy.key, item.cost) == ("R6", "shielded-cable", 850)
    assert [circuit.name for circuit in item.circuits.all()] == ["F1"]
    office.post(url, {"offer": key})
    assert opposed.items.count() == 6
    office.post(url, {"all": "1"})
    n_items = opposed.items.count()
    assert n_items > 6
    office.post(url, {"all": "1"})
    assert opposed.items.count() == n_items
    assert "Offered:" not in text_of(page_of(office, opposed))


# -- What the plan brings -----------------------------------------------------------------------


def test_a_tick_is_kept_and_answered_with_what_it_brings(opposed, office) -> None:
    part = tick(office, opposed, "R1", **HTMX)
    assert b"<html" not in part.content
    words = text_of(part)
    assert "Together: 300.00 EUR." in words
    assert "may rise" in words  # F1 alone off: F2 is left
    assert opposed.items.get(name="R1").is_chosen
    words = text_of(tick(office, opposed, "R1", "R2", **HTMX))
    assert "may rise" not in words and "Together: 580.00 EUR." in words
    assert [item.name for item in opposed.items.filter(is_chosen=True)] == ["R1", "R2"]


def test_without_scripts_a_button_leads_back_to_the_page(opposed, office) -> None:
    answer = tick(office, opposed, "R2")
    assert answer.status_code == 302
    assert answer["Location"] == reverse("case_plan", args=[opposed.reference])
    assert "Show what they bring" in text_of(page_of(office, opposed))


def test_a_tick_leaves_alone_what_the_page_did_not_show(opposed, office) -> None:
    tick(office, opposed, "R2", shown=("R2", "R3"))
    chosen = opposed.items.filter(is_chosen=True).values_list("name", flat=True)
    assert list(chosen) == ["R1", "R2"]


def test_figures_are_those_of_the_command(three) -> None:
    """Overall: all three switches work at 0.9 each, and the bed needs them all."""
    by = UserFactory(role="office")
    choose_items(case=three, by=by, names=["R1", "R2", "R3"])
    (line,) = read_plan(three).lines
    assert line.is_held and line.counts and line.probability >= 0.9
    assert line.overall == pytest.approx(0.9**3, abs=0.03)
    assert line.band in (1, 2)
    assert line.figures.low < line.figures.median < line.figures.high < line.before["value"]


def test_what_was_not_tried_is_unknown_and_asked_for(opposed, office) -> None:
    words = text_of(tick(office, opposed, "R3", **HTMX))
    assert "unknown" in words
    assert "Not tried here: F4. Read a state with it off." in words
    words = text_of(tick(office, opposed, "R5", **HTMX))
    assert "Not read yet: F1 + F2 off. Read this state." in words


def test_an_assessor_of_the_home_plans_and_another_does_not(three, client) -> None:
    assessor = UserFactory(role="assessor")
    client.force_login(assessor)
    assert tick(client, three, "R1").status_code == 404
    assert not three.items.filter(is_chosen=True).exists()
    assign(assessor, three.property)
    assert tick(client, three, "R1").status_code == 302
    assert three.items.filter(is_chosen=True).exists()


def test_the_plan_leads_to_the_trial_of_a_visit_that_is_open(three, office) -> None:
    words = text_of(page_of(office, three))
    assert "A trial is entered in a visit that is not sealed." in words
    visit = VisitFactory(property=three.property, sealed_at=None)
    CaseVisit.objects.create(case=three, visit=visit)
    page = page_of(office, three).content.decode()
    assert reverse("trial_walk", args=[visit.pk]) in page


# -- Trials that are still to be computed -------------------------------------------------------


def test_nothing_is_sampled_in_a_request(office) -> None:
    case = bring_in(three_circuits())
    words = text_of(page_of(office, case))
    assert "not computed yet for 1 row" in words and "Compute it now" in words
    assert "Not computed yet." in text_of(tick(office, case, "R1", **HTMX))
    assert "Until then nothing can be chosen." in text_of(choice(office, case))
    assert not TrialFit.objects.exists() and not Job.objects.filter(kind="sample-trials").exists()


def test_the_page_asks_until_the_job_is_done(office) -> None:
    case = bring_in(three_circuits())
    url = reverse("plan_compute", args=[case.reference])
    for _click in range(2):
        assert office.post(url).status_code == 302
    job = Job.objects.get(kind="sample-trials")
    part = page_of(office, case, **HTMX).content.decode()
    assert "<progress" in part and 'hx-trigger="every 2s"' in part
    assert run_job(job.pk)
    answer = page_of(office, case, **HTMX)
    assert answer["HX-Refresh"] == "true"
    words = text_of(page_of(office, case))
    assert "computed yet" not in words and "The model fits" in words
    assert office.post(url).status_code == 302  # nothing is left to do
    assert Job.objects.filter(kind="sample-trials").count() == 1


def test_a_job_that_was_given_up_is_tried_again(office) -> None:
    case = bring_in(three_circuits())
    url = reverse("plan_compute", args=[case.reference])
    office.post(url)
    Job.objects.filter(kind="sample-trials").update(state=Job.State.DEAD)
    assert "Compute it now" in text_of(page_of(office, case))
    office.post(url)
    assert Job.objects.get(kind="sample-trials").state == Job.State.WAITING


def test_a_changed_row_makes_what_was_kept_count_no_more(three, office) -> None:
    assert read_plan(three).stale == []
    state = Reading.objects.filter(state="trial", circuits_off="F1").get()
    with unguarded():
        Reading.objects.filter(pk=state.pk).update(set_aside="the plug had slipped out")
    page = read_plan(three)
    assert page.pending == page.stale != []
    words = text_of(page_of(office, three))
    assert "Rows of a trial changed since it was computed: what was kept counts no more." in words
    assert "Not computed yet." in text_of(tick(office, three, "R1", **HTMX))


def test_the_same_rows_in_another_home_are_computed_once_and_survive_an_erasure(office) -> None:
    first = sampled(bring_in(three_circuits(reference="EB-P21")))
    second = bring_in(three_circuits(reference="EB-P22"))
    assert read_plan(second).pending == []
    TrialFit.objects.update(names=[])  # what an erasure of the first client does
    assert len(read_plan(second).pending) == len(read_plan(first).pending) == 1
    page = read_plan(sampled(second))
    assert page.pending == [] and len(contributions_of(page.rows[0])) == 4
    assert TrialFit.objects.count() == 1


# -- The cheapest plan --------------------------------------------------------------------------


def test_the_cheapest_plan_is_proven_and_taken(three, office) -> None:
    answer = choice(office, three)
    words = text_of(answer)
    assert "R1, R2 and R3, together 750.00, hold every row that counts at 90 %." in words
    assert "Every cheaper plan was ruled out" in words
    page = answer.content.decode()
    assert "<title>What more money holds: 1: 0 of 1 rows for 0.00; 2: 1 of 1 rows for" in page
    take = re.findall(r'name="item" value="(R\d)"', page)
    assert take == ["R1", "R2", "R3"]
    office.post(reverse("plan_choose", args=[three.reference]), {"item": take})
    assert "1 of 1 rows that count are held" in text_of(page_of(office, three))


def test_what_is_in_the_way_is_said(opposed, office) -> None:
    words = text_of(choice(office, opposed))
    assert "No plan holds every row at 90 %: 1 of 3 at most." in words
    assert "What is in the way" in words
    assert "Bedroom, bed head, Magnetic flux density: 0 %: none of the items does more" in words


@pytest.mark.parametrize(
    ("seconds", "held"), [(0.0, "than doing nothing: 0 of 3"), (60.0, "every row at 90 %: 1 of 3")]
)
def test_a_search_out_of_time_says_only_what_it_found(
    opposed, office, monkeypatch, seconds, held
) -> None:
    """As with many items, where every plan is not looked at."""
    monkeypatch.setattr(plans, "choose", partial(choose, enumerate_up_to=-1))
    monkeypatch.setattr(plans, "CHOICE_S", seconds)
    words = text_of(choice(office, opposed))
    assert held in words
    assert ("No plan was found" in words) == (seconds == 0.0)


def test_other_rows_and_another_probability_may_be_asked(opposed, office) -> None:
    words = text_of(choice(office, opposed, probability="70", rows="all"))
    assert "every row at 70 %" in words and "of 4 at most" in words
    assert "Study, desk" in words
    part = office.get(reverse("plan_choice", args=[opposed.reference]),
                      {"probability": "90", "rows": "sleeping"}, headers=HTMX)  # fmt: skip
    assert b"<html" not in part.content


@pytest.mark.parametrize("probability", ["0", "101", "much", ""])
def test_a_probability_that_is_none_is_refused(probability, three, office) -> None:
    answer = choice(office, three, probability=probability, rows="sleeping")
    assert answer.status_code == 422 and b"errorlist" in answer.content


def test_an_item_without_a_price_is_never_chosen(three, office) -> None:
    three.items.filter(name="R3").update(cost=None)
    words = text_of(choice(office, three))
    assert "Without a price, so never chosen: R3." in words
    assert "No plan holds every row" in words


# -- Versions -----------------------------------------------------------------------------------


def test_two_versions_stand_side_by_side(three, office) -> None:
    keep = reverse("plan_draft_keep", args=[three.reference])
    tick(office, three, "R1")
    assert office.post(keep, {"name": "one switch"}).status_code == 302
    tick(office, three, "R1", "R2", "R3")
    assert office.post(keep, {"name": "one switch"}).status_code == 422  # the name is taken
    assert office.post(keep, {"name": "three switches"}).status_code == 302
    first, second = PlanDraft.objects.order_by("pk")
    page = reverse("plan_drafts", args=[three.reference])
    answer = office.get(page, {"first": first.pk, "second": second.pk})
    words = text_of(answer)
    assert "Cost [EUR] 300.00 750.00" in words
    assert "R1: demand switch, F1 300.00" in words
    likely = [row["probability"] for draft in (first, second) for row in draft.rows]
    assert likely[0] < 0.01 and likely[1] > 0.9
    # What is kept stays, whatever is ticked later.
    tick(office, three)
    assert "Cost [EUR] 300.00 0.00" in text_of(office.get(page, {"first": first.pk, "second": ""}))
    office.post(reverse("plan_draft_remove", args=[three.reference, first.pk]))
    assert list(PlanDraft.objects.all()) == [second]


def test_the_page_costs_the_same_queries_for_more_trials(office) -> None:
    """Each of four more spots has a kept trial, and its own draws."""

    def queries(n_spots, reference):
        rows = [
            row
            for n in range(n_spots)
            for row in field_rows(f"bed {n}", THREE, every_state(list(THREE)))
        ]
        case = sampled(bring_in(folder(rows, reference=reference)))
        page_of(office, case)
        with CaptureQueriesContext(connection) as caught:
            assert page_of(office, case).status_code == 200
        return [query["sql"] for query in caught.captured_queries]

    few, many = queries(1, "EB-P11"), queries(5, "EB-P12")
    assert len(few) == len(many), "\n".join(set(many) - set(few))


def test_the_page_speaks_german(three, client) -> None:
    client.force_login(UserFactory(role="office", language="de"))
    tick(client, three, "R1", "R2", "R3")
    words = text_of(page_of(client, three))
    assert "1 von 1 Zeilen, die zählen, sind mit 90 % gehalten." in words
    assert "Zusammen: 750,00 EUR." in words
    assert "R1, R2 und R3, zusammen 750,00, halten jede Zeile" in text_of(choice(client, three))


def test_the_case_leads_to_its_plan(three, office) -> None:
    page = office.get(reverse("case_detail", args=[three.reference])).content.decode()
    assert f'href="{reverse("case_plan", args=[three.reference])}"' in page


# -- Pictures -----------------------------------------------------------------------------------


def test_bars_are_told_apart_without_colour() -> None:
    bars = (
        Bar("F1 & co", 24.0, 23.0, 25.0, "24", "F1 & co adds 24"),
        Bar("F2", -10.0, -11.0, -9.0, "-10", "F2 takes off 10"),
        Bar("outside", 0.3, 0.1, 0.5, "0.3", "outside 0.3", is_hatched=True),
    )
    drawn = signed_bars_svg(BarChart("Bed", "V/m", bars, "adds", "takes off"))
    assert "<title>Bed: F1 &amp; co adds 24; F2 takes off 10; outside 0.3</title>" in drawn
    kinds = {
        kind: float(x) for kind, x in re.findall(r'<rect class="([\w-]+)" x="([\d.]+)"', drawn)
    }
    assert list(kinds) == ["adds", "takes-off", "stays"]
    zero = float(re.search(r'class="zero" d="M([\d.]+)', drawn)[1])
    assert kinds["adds"] == kinds["stays"] == zero > kinds["takes-off"]
    assert drawn.count('class="interval"') == 3
    fills = re.findall(r'<rect class="[\w-]+".*?fill="(#\w+)"', drawn)
    assert fills[0] != fills[1] == fills[2] and drawn.count("<path") == 2  # zero and the hatch


def test_stairs_have_a_disc_for_each_plan() -> None:
    stairs = (Stair(0.0, 0, 1), Stair(300.0, 1, 2), Stair(900.0, 3, 3))
    drawn = stairs_svg(StairChart("Stairs", "three plans", stairs, 3, "cost", "held"))
    discs = [(float(x), float(y)) for x, y in re.findall(r'cx="([\d.]+)" cy="([\d.]+)"', drawn)]
    assert discs == sorted(discs) and len(discs) == 3
    assert discs[0][1] > discs[1][1] > discs[2][1]  # up the page
    steps = np.diff([x for x, _y in discs])
    assert steps[1] / steps[0] == pytest.approx(2.0, rel=1e-3)


def test_changing_an_item_says_its_words_in_the_reader_s_language(three) -> None:
    item = three.items.get(name="R1")
    with override("de"), pytest.raises(ValidationError):
        change_item(item=item, by=UserFactory(role="office"), circuits=[])
