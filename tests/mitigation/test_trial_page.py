"""The page of a switching trial: states proposed, entered one by one, what each of them tells."""

from urllib.parse import urlencode

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from mitigation.models import CaseVisit, PlanItem, Remedy
from mitigation.services.plan_items import add_item
from surveys.models import Reading, Visit
from surveys.services import circuits, visits
from tests.factories import (
    BASELINE_DAY,
    CalibrationFactory,
    SpotFactory,
    UserFactory,
    assign,
    compared_case,
)

FREE = "electric-field-potential-free"
# One phase; F2 cancels a part of F1 and F3 on every axis. [V/m]
AMPLITUDE = {"F1": (24.0, 6.0, 3.0), "F2": (-5.0, -2.0, -1.0), "F3": (6.0, 1.0, 0.5)}


@pytest.fixture
def walk(db, client):
    return Walk(client)


class Walk:
    """An open visit with three circuits, its assessor at the page."""

    def __init__(self, client, names=("F1", "F2", "F3")):
        self.client = client
        self.case = compared_case()
        home = self.case.property
        self.assessor = UserFactory(role="assessor")
        assign(self.assessor, home)
        client.force_login(self.assessor)
        self.visit = visits.plan_visit(
            home=home, kind="baseline", day=BASELINE_DAY, by=self.assessor, assessor="A. Brook"
        )
        CaseVisit.objects.create(case=self.case, visit=self.visit)
        for name in names:
            circuits.add_circuit(home=home, by=self.assessor, name=name)
        self.spot = SpotFactory(home=home, name="bed middle")
        self.meter = CalibrationFactory(resolution=0.1).instrument
        self.asked = {"spot": self.spot.pk, "measurand": FREE, "instrument": self.meter.pk,
                      "source": list(names)}  # fmt: skip

    def url(self, **asked):
        query = urlencode(self.asked | asked, doseq=True)
        return f"{reverse('trial_walk', args=[self.visit.pk])}?{query}"

    def page(self, **asked):
        return self.client.get(self.url(**asked))

    def enter(self, off="", nth=0, asked=None, **cells):
        return self.client.post(self.url(**(asked or {})), {"off": off, "nth": nth} | cells)

    def read(self, off="", nth=0, amplitude=AMPLITUDE):
        """Enter what the meter would show."""
        names = [name.strip() for name in off.split(";") if name.strip()]
        on = [np.array(parts) for name, parts in amplitude.items() if name not in names]
        field = (f"{value:.1f}" for value in abs(sum(on, np.zeros(3))))
        response = self.enter(off, nth, **dict(zip("xyz", field, strict=True)))
        assert response.status_code == 302, response.content.decode()

    def titles(self, **asked):
        rows = self.page(**asked).context["rows"]
        return [row["title"] for row in rows]

    def changes(self, **asked):
        rows = self.page(**asked).context["rows"]
        return {row["title"]: row["change"].replace("\xa0", " ") for row in rows}

    def readings(self):
        return Reading.objects.filter(visit=self.visit).order_by("position")


def test_all_on_each_off_all_off_each_alone_and_all_on_again_are_proposed(walk):
    assert walk.titles() == [
        "Everything on", "F1 off", "F2 off", "F3 off", "F1 + F2 + F3 off", "F2 + F3 off",
        "F1 + F3 off", "F1 + F2 off", "Everything on",
    ]  # fmt: skip


def test_more_than_eight_circuits_are_read_in_three_mixed_states(db, client):
    names = [f"F{n}" for n in range(1, 10)]
    titles = Walk(client, names).titles()
    assert len(titles) == 1 + 9 + 1 + 3 + 1
    # The circuits whose number, from 1 to 7 and again, has bit 0, bit 1, bit 2.
    assert titles[11:14] == [
        "F1 + F3 + F5 + F7 + F8 off",
        "F2 + F3 + F6 + F7 + F9 off",
        "F4 + F5 + F6 + F7 off",
    ]


def test_a_state_makes_one_row_of_a_trial(walk):
    walk.read("F1; F2")
    (row,) = walk.readings()
    assert (row.state, row.circuits_off, row.unit) == ("trial", "F1; F2", "V/m")
    assert (row.spot, row.instrument, row.measurand) == (walk.spot, walk.meter, FREE)
    assert (row.x, row.y, row.z, row.total) == (6.0, 1.0, 0.5, None)
    assert row.calibration is not None
    assert set(row.off_circuits.values_list("name", flat=True)) == {"F1", "F2"}


def test_a_mark_is_kept_as_the_display_shows_it(walk):
    walk.enter("F1", x="<0.3", y="4", z=">2000")
    (row,) = walk.readings()
    assert (row.x, row.x_mark, row.y, row.y_mark, row.z_mark) == (0.3, "<", 4.0, "", ">")
    assert row.total is None


@pytest.mark.parametrize(
    ("asked", "status"), [(None, 200), ({"source": "F9"}, 422), ({"spot": 0}, 422), ({}, 200)]
)
def test_the_names_of_what_can_be_switched_are_read_once(walk, client, asked, status):
    address = walk.url(**asked) if asked is not None else walk.url().partition("?")[0]
    with CaptureQueriesContext(connection) as queries:
        assert client.get(address).status_code == status
    labels = [row["sql"] for row in queries if '"surveys_circuit"."label"' in row["sql"]]
    assert len([sql for sql in labels if '"surveys_circuit"."phase"' not in sql]) == 1


def test_an_entry_reads_no_trial_for_its_address(walk):
    """A post answers with the address of the walk, which is computed when that is asked."""
    with CaptureQueriesContext(connection) as queries:
        response = walk.enter("F1", x="3", y="4", z="0")
    assert response.status_code == 302 and "source=F1" in response["Location"]
    assert not [row for row in queries if "mitigation_planitem" in row["sql"]]


def test_a_double_click_makes_one_row(walk):
    for _click in range(2):
        assert walk.enter("F1", x="3", y="4", z="0").status_code == 302
    assert walk.readings().count() == 1


def test_other_numbers_for_a_state_that_was_read_are_refused_and_kept_on_the_page(walk):
    walk.enter("F1", x="3", y="4", z="0")
    response = walk.enter("F1", x="5", y="4", z="0")
    assert response.status_code == 422
    assert "correct reading 1" in response.content.decode()
    assert walk.readings().get().x == 3.0


def test_everything_on_is_read_first_and_last(walk):
    walk.enter("", 0, x="10", y="0", z="0")
    assert walk.enter("", 1, x="10.2", y="0", z="0").status_code == 302
    assert list(walk.readings().values_list("x", flat=True)) == [10.0, 10.2]
    assert walk.page().context["n_read"] == 2


def test_a_state_that_was_set_aside_can_be_read_again(walk):
    walk.enter("F1", x="3", y="4", z="0")
    row = walk.readings().get()
    visits.set_aside_reading(reading=row, by=walk.assessor, reason="The lead was loose.")
    assert walk.enter("F1", x="3", y="4", z="0").status_code == 302
    assert walk.readings().count() == 2 and walk.readings().filter(set_aside="").count() == 1


def test_a_reading_that_was_moved_to_another_state_frees_its_own(walk):
    walk.enter("F1", x="3", y="4", z="0")
    row = walk.readings().get()
    visits.correct_reading(reading=row, by=walk.assessor, circuits_off="F2")
    assert walk.enter("F1", x="3", y="4", z="0").status_code == 302
    assert sorted(walk.readings().values_list("circuits_off", flat=True)) == ["F1", "F2"]


# -- One axis at a time ----------------------------------------------------------------------


def test_axes_read_one_after_the_other_make_one_row(walk):
    axes = {"x": "10", "y": "4", "z": "<0.3"}
    for axis, shown in axes.items():
        for _click in range(2):
            response = walk.enter("F1", asked={"axis": axis}, **{axis: shown})
            assert response.status_code == 302
    (row,) = walk.readings()
    assert (row.x, row.y, row.z, row.z_mark) == (10.0, 4.0, 0.3, "<")
    # What stood there when is in the history.
    assert [old.y for old in row.history.order_by("history_id")] == [None, 4.0, 4.0]


def test_one_number_a_state_is_asked_for_the_chosen_axis(walk):
    page = walk.page(axis="y")
    for row in page.context["rows"]:
        assert [field.name for field in row["form"].displays()] == ["y"]
    walk.enter("F1", asked={"axis": "x"}, x="10")
    is_open = {row["title"]: row["is_open"] for row in walk.page(axis="y").context["rows"]}
    assert is_open["F1 off"]
    assert walk.page(axis="x").context["n_read"] == 1


def test_an_axis_that_was_read_is_not_overwritten(walk):
    walk.enter("F1", asked={"axis": "x"}, x="10")
    response = walk.enter("F1", asked={"axis": "x"}, x="12")
    assert response.status_code == 422
    assert walk.readings().get().x == 10.0


def test_an_axis_is_held_against_everything_on_of_the_same_axis(walk):
    walk.enter("", asked={"axis": "x"}, x="10")
    walk.enter("", asked={"axis": "y"}, y="100")
    walk.enter("F1", asked={"axis": "x"}, x="4")
    assert walk.changes(axis="x")["F1 off"] == "4 V/m, falls by 6 V/m (60 %)"


# -- What the page tells ---------------------------------------------------------------------


def test_each_state_is_held_against_everything_on(walk):
    """All on: (25, 5, 2.5); with F1 off |(1, -1, -0.5)|, 94 % less."""
    walk.read("")
    walk.read("F1")
    # sqrt(656.25) = 25.617, sqrt(2.25) = 1.5.
    assert walk.changes()["F1 off"] == "1.5 V/m, falls by 24.1 V/m (94 %)"


def test_out_of_range_the_least_change_is_told(walk):
    """All on 25: "<3" is 22 less at least, ">40" is 15 more; "<40" and ">9" say nothing."""
    walk.enter("", x="25")
    for off, shown in (("F1", "<3"), ("F2", ">40"), ("F3", "<40"), ("F1; F2", ">9")):
        walk.enter(off, x=shown)
    changes = walk.changes()
    assert changes["F1 off"] == "≤ 3 V/m, falls by at least 22 V/m (88 %)"
    assert changes["F2 off"] == "≥ 40 V/m, rises by at least 15 V/m (60 %)"
    assert changes["F3 off"] == "≤ 40 V/m" and changes["F1 + F2 off"] == "≥ 9 V/m"
    assert [words[:10] for words in walk.page().context["rising"]] == ["Opening F2"]


def test_a_circuit_whose_opening_raises_the_field_is_called_out(walk):
    walk.read("")
    walk.read("F1")
    assert walk.page().context["rising"] == []
    walk.read("F2")
    (sentence,) = walk.page().context["rising"]
    assert sentence.startswith("Opening F2 raises the field at ")
    assert sentence.endswith("it partly cancels others. Do not open it alone.")
    # On top, and at the state, where somebody with a phone is.
    assert walk.page().content.decode().count(sentence) == 2
    assert [row["title"] for row in walk.page().context["rows"] if row["rising"]] == ["F2 off"]


def test_a_rise_within_the_uncertainty_of_the_meter_is_none(walk):
    walk.enter("", x="25", y="5", z="2")
    walk.enter("F2", x="25.2", y="5", z="2")
    assert walk.page().context["rising"] == []


def test_it_says_how_many_states_are_missing_before_the_model_can_be_checked(walk):
    """Three circuits: five parameters an axis, three degrees of freedom, so eight readings."""
    assert "read 8 more states" in walk.page().content.decode()
    walk.read("")
    walk.read("F1")
    assert "read 6 more states" in walk.page().content.decode()


def test_once_it_can_be_checked_the_state_that_tells_most_is_named(walk):
    for row in walk.page().context["rows"][:-1]:
        walk.read(row["form"].initial["off"], row["form"].initial["nth"])
    page = walk.page()
    assert "enough readings" in page.content.decode()
    # Every state but pairs was read, and with three circuits each alone is a pair that is off.
    assert "No further state would tell more." in page.content.decode()


def test_the_state_that_the_plan_makes_comes_first(walk):
    remedy = Remedy.objects.get(key="demand-switch")
    home = walk.case.property
    names = ["F1", "F3"]
    rows = list(home.panels.get().circuits.filter(name__in=names))
    item = add_item(case=walk.case, by=walk.assessor, remedy=remedy, circuits=rows)
    PlanItem.objects.filter(pk=item.pk).update(is_chosen=True)
    skipped = {"F1; F3", "F1; F2"}
    states = [row["form"].initial for row in walk.page().context["rows"]]
    for state in states:
        if state["off"] not in skipped:
            walk.read(state["off"], state["nth"])
    for nth in (2, 3):  # so that there are enough readings without the two
        walk.read("", nth)
    rows = walk.page().context["rows"]
    assert [row["title"] for row in rows if row["tells_most"]] == ["F1 + F3 off"]
    walk.read("F1; F3")
    content = walk.page().content.decode()
    assert "its promise rests on a reading" in content


def test_totals_and_flux_density_are_not_shared_out(walk):
    walk.enter("", total="25")
    assert "are not shared out among circuits" in walk.page().content.decode()


def test_a_misfit_is_said_in_words(walk):
    """With F1 off, and with F2 and F3 off, the same: no circuits add up like that."""
    shown = ["50", "5", "40", "6", "30", "45", "7", "48", "50"]
    for row, value in zip(walk.page().context["rows"], shown, strict=True):
        walk.enter(row["form"].initial["off"], row["form"].initial["nth"], x=value)
    assert "do not fit together" in walk.page().content.decode()


def test_unknown_phases_are_asked_for(db, client):
    walk = Walk(client, ["F1", "F2"])
    walk.case.property.phases = 3
    walk.case.property.save()
    assert "The phase of F1, F2 is not known" in walk.page().content.decode()


# -- Around it -------------------------------------------------------------------------------


def test_it_asks_before_circuits_are_switched_off(walk):
    content = walk.page().content.decode()
    assert "Open and close breakers only." in content
    assert "work inside it is for a licensed electrician" in content


def test_the_trial_goes_on_where_it_was(walk):
    walk.enter("F1", x="3", y="4", z="0")
    response = walk.client.get(reverse("trial_walk", args=[walk.visit.pk]))
    where = response.context["where"]
    assert (where.spot, where.measurand, where.instrument) == (walk.spot, FREE, walk.meter)


def test_before_the_first_reading_it_offers_how_the_home_was_last_measured(walk):
    page = walk.client.get(reverse("trial_walk", args=[walk.visit.pk]))
    assert page.status_code == 200 and "errorlist" not in page.content.decode()
    last = Reading.objects.filter(visit__property=walk.case.property).latest("visit__date", "pk")
    offered = page.context["setup"]
    assert offered["measurand"].value() == last.measurand
    assert offered["instrument"].value() == str(last.instrument_id)
    assert offered["source"].value() == ["F1", "F2", "F3"]


def test_a_home_without_circuits_leads_to_where_they_are_entered(db, client):
    walk = Walk(client, [])
    response = walk.client.get(reverse("trial_walk", args=[walk.visit.pk]))
    assert response.status_code == 200
    assert "This home has no circuit yet." in response.content.decode()


def test_an_address_that_names_nothing_known_is_refused(walk):
    assert walk.page(spot=999_999).status_code == 422
    assert walk.page(source=["F99"]).status_code == 422
    other = SpotFactory(name="of another home")
    assert walk.page(spot=other.pk).status_code == 422


def test_a_sealed_visit_shows_its_trial_and_takes_no_reading(walk):
    walk.read("")
    Visit.objects.filter(pk=walk.visit.pk).update(sealed_at=timezone.now())
    page = walk.page()
    assert page.status_code == 200 and 'name="x"' not in page.content.decode()
    assert walk.enter("F1", x="3", y="4", z="0").status_code == 422
    assert walk.readings().count() == 1


def test_htmx_gets_the_walk_alone(walk):
    response = walk.client.post(
        walk.url(), {"off": "", "nth": 0, "x": "1"}, headers={"HX-Request": "true"}
    )
    content = response.content.decode()
    assert response.status_code == 200 and content.strip().startswith('<div id="walk">')
    assert walk.readings().count() == 1


def test_a_faulty_display_stays_in_its_form(walk):
    response = walk.enter("F1", x="three", y="4")
    content = response.content.decode()
    assert response.status_code == 422 and 'value="three"' in content
    assert walk.readings().count() == 0


def test_neither_total_nor_axes_is_refused(walk):
    assert walk.enter("F1").status_code == 422
    assert walk.enter("F1", x="3", total="4").status_code == 422
    assert walk.readings().count() == 0


def test_the_page_costs_the_same_for_few_and_many_states(walk, django_assert_num_queries):
    walk.read("")
    walk.page()
    with django_assert_num_queries(100, exact=False) as few:
        walk.page()
    states = [row["form"].initial for row in walk.page().context["rows"]]
    for state in states[1:]:
        walk.read(state["off"], state["nth"])
    with django_assert_num_queries(100, exact=False) as many:
        walk.page()
    assert len(many) <= len(few) + 1  # once it can be sampled it is asked whether draws are kept


def test_a_visit_links_to_its_trial(walk):
    content = walk.client.get(reverse("visit_detail", args=[walk.visit.pk])).content.decode()
    assert reverse("trial_walk", args=[walk.visit.pk]) in content
