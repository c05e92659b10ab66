"""Typing in a hurry: a trial never turns the next reading into one, unless a walk is on."""

import re

import pytest
from django.urls import reverse

from surveys.models import Measurand, Reading
from surveys.results.dangers import dangers_of
from surveys.services import visits
from tests.cast import make_cast
from tests.factories import BASELINE_DAY, CalibrationFactory, SpotFactory

pytestmark = pytest.mark.django_db
HTMX = {"HX-Request": "true"}


@pytest.fixture
def cast():
    return make_cast()


@pytest.fixture
def visit(cast):
    return visits.plan_visit(
        home=cast.case.property, kind="baseline", day=BASELINE_DAY, by=cast.people["office"],
        label="Second look", assessor="A. Brook",
    )  # fmt: skip


@pytest.fixture
def browser(cast, client):
    cast.log_in(client, "its assessor")
    return client


@pytest.fixture
def row(visit):
    return {
        "spot": SpotFactory(home=visit.property).pk,
        "measurand": Measurand.ELECTRIC_FIELD_POTENTIAL_FREE,
        "instrument": CalibrationFactory.create().instrument_id,
        "total": "4",
        "unit": "V/m",
    }


def enter(browser, visit, row, headers):
    """The page, or its part, after an entry."""
    answer = browser.post(reverse("reading_add", args=[visit.pk]), row, headers=headers)
    if answer.status_code == 302:
        answer = browser.get(answer["Location"].partition("#")[0])
    return answer.content.decode()


def _state(page):
    return re.search(r'<select name="state".*?</select>', page, re.DOTALL).group()


def state_in(page):
    return re.search(r'<option value="([^"]+)" selected>', _state(page)).group(1)


@pytest.mark.parametrize("headers", [{}, HTMX])
def test_after_a_trial_the_next_reading_is_as_used(browser, visit, row, headers):
    page = enter(browser, visit, row | {"state": "trial", "circuits_off": "3"}, headers)
    assert Reading.objects.get(visit=visit).circuits_off == "3"
    assert state_in(page) == "as-used"
    assert 'name="circuits_off" value=' not in page


@pytest.mark.parametrize("headers", [{}, HTMX])
def test_on_a_trial_walk_state_and_circuits_stay_until_it_is_over(browser, visit, row, headers):
    trial = row | {"state": "trial", "circuits_off": "3", "walk": "on"}
    page = enter(browser, visit, trial, headers)
    assert state_in(page) == "trial" and 'name="circuits_off" value="3"' in page
    assert re.search(r'name="walk"[^>]* checked', page)
    assert "<details open>" in page  # what is not as usual is never out of sight
    page = enter(browser, visit, trial | {"walk": ""}, headers)
    assert state_in(page) == "as-used" and not re.search(r'name="walk"[^>]* checked', page)


@pytest.mark.parametrize("headers", [{}, HTMX])
def test_as_used_with_circuits_off_is_asked_about(browser, visit, row, headers):
    url = reverse("reading_add", args=[visit.pk])
    odd = row | {"state": "as-used", "circuits_off": "3"}
    answer = browser.post(url, odd, headers=headers)
    page = answer.content.decode()
    assert answer.status_code == 422 and not visit.readings.exists()
    assert "Circuits are off" in page and 'name="as_used_with_off"' in page
    enter(browser, visit, odd | {"as_used_with_off": "on"}, headers)
    assert (visit.readings.get().state, visit.readings.get().circuits_off) == ("as-used", "3")


def test_the_question_is_not_there_before_it_is_asked(browser, visit, row):
    page = browser.get(reverse("visit_detail", args=[visit.pk])).content.decode()
    assert 'name="state"' in page and 'name="as_used_with_off"' not in page


def test_what_never_stood_on_the_display_is_no_danger_and_the_rest_stays_one(browser, visit, row):
    enter(browser, visit, row | {"state": "as-used", "total": "6200"}, HTMX)
    reading = visit.readings.get()
    url = reverse("reading_set_aside", args=[reading.pk])
    assert browser.post(url, {}).status_code == 422
    browser.post(url, {"reason": "lamp fell on the probe"})
    assert [danger.value for danger in dangers_of(visit)] == [6200.0]
    browser.post(url, {"take_back": "1"})
    browser.post(url, {"mistyped": "on"})
    reading.refresh_from_db()
    assert reading.set_aside == "mistyped" and dangers_of(visit) == []
    page = browser.get(reverse("visit_detail", args=[visit.pk])).content.decode()
    assert "mistyped: never stood on the display" in page and "Stop, keep clear" not in page


def test_body_voltage_without_a_ground_point_is_missing_at_the_seal(browser, visit, row):
    meter = CalibrationFactory(quantity="body voltage", unit="mV")
    voltage = {"measurand": Measurand.BODY_VOLTAGE, "instrument": meter.instrument_id, "unit": "mV"}
    page = enter(browser, visit, row | voltage | {"state": "as-used"}, HTMX)
    assert "1 reading of the body voltage names no ground point." in page
