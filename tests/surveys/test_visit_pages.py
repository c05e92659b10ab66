"""The page of a visit: typing row by row, with and without script, up to the seal."""

import re

import pytest
from django.db import connection
from django.test import Client as Browser
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from consult.models import User
from consult.services.changes import version_of
from surveys.models import GroundCheck, GroundPoint, Measurand, Reading, Spot, Visit
from surveys.services import visits
from surveys.services.ground_checks import record_ground_check
from tests.cast import make_cast
from tests.factories import (
    BASELINE_DAY,
    CalibrationFactory,
    SpotFactory,
    UserFactory,
    as_if_so_from_the_start,
)

pytestmark = pytest.mark.django_db
HTMX = {"HX-Request": "true"}


@pytest.fixture
def cast():
    return make_cast()


@pytest.fixture
def visit(cast):
    """An open baseline visit of the assessor, at the home of the case."""
    return visits.plan_visit(
        home=cast.case.property,
        kind="baseline",
        day=BASELINE_DAY,
        by=cast.people["office"],
        label="Second look",
        assessor="A. Brook",
    )


@pytest.fixture
def browser(cast, client: Browser):
    cast.log_in(client, "its assessor")
    return client


@pytest.fixture
def row(visit):
    """What the form sends for 3, 4 and <12 V/m."""
    point = visits.add_ground_point(visit=visit, by=UserFactory(), name="water pipe")
    return {
        "spot": SpotFactory(home=visit.property).pk,
        "measurand": Measurand.ELECTRIC_FIELD_GROUND,
        "instrument": CalibrationFactory.create().instrument_id,
        "ground_point": point.pk,
        "x": "3",
        "y": "4",
        "z": "< 12",
        "unit": "V/m",
        "state": "as-used",
    }


def url(name, *arguments):
    return reverse(name, args=arguments)


def page_of(browser, visit):
    return browser.get(url("visit_detail", visit.pk)).content.decode()


def test_a_reading_typed_without_script_stands_on_the_page(browser, visit, row):
    answer = browser.post(url("reading_add", visit.pk), row)
    assert answer.status_code == 302
    reading = visit.readings.get()
    assert (reading.x, reading.z, reading.z_mark) == (3.0, 12.0, "<")
    page = browser.get(answer["Location"].partition("#")[0]).content.decode()
    assert "≤\u00a013" in page
    assert "band-3" in page


def test_a_reading_typed_with_htmx_answers_with_the_part_alone(browser, visit, row):
    answer = browser.post(url("reading_add", visit.pk), row, headers=HTMX)
    part = answer.content.decode()
    assert answer.status_code == 200
    assert part.lstrip().startswith('<div id="work">')
    assert "<html" not in part
    assert "≤\u00a013" in part
    # The next row begins with what it most likely shares with this one.
    assert f'<option value="{row["spot"]}" selected>' in part


@pytest.mark.parametrize("headers", [{}, HTMX])
@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"x": "three"}, "A number of 0 or more"),
        ({"x": "-3"}, "A number of 0 or more"),
        ({"x": "<"}, "A number of 0 or more"),
        ({"x": "1,234"}, "1234 or 1.234?"),
        ({"unit": "nT"}, "V/m, kV/m for this quantity"),
        ({"total": "5"}, "Either a total or axes"),
        ({"x": "", "y": "", "z": ""}, "one to three axes"),
    ],
)
def test_a_wrong_cell_is_named_and_nothing_is_entered(browser, visit, row, change, word, headers):
    answer = browser.post(url("reading_add", visit.pk), row | change, headers=headers)
    assert answer.status_code == 422
    assert word in answer.content.decode()
    assert not visit.readings.exists()


def test_a_decimal_comma_is_read_on_the_german_page(browser, cast, visit, row):
    german = in_german(cast)
    browser.post(url("reading_add", visit.pk), row | {"x": "3,125"}, headers=german)
    assert visit.readings.get().x == 3.125  # on an English page it might part thousands


def test_a_field_above_the_reference_level_stops_the_page_at_once(browser, visit, row):
    calm = browser.post(url("reading_add", visit.pk), row, headers=HTMX).content.decode()
    assert 'role="alert"' not in calm
    alarm = browser.post(
        url("reading_add", visit.pk), row | {"x": "5001"}, headers=HTMX
    ).content.decode()
    assert 'role="alert"' in alarm
    assert "call a licensed electrician" in alarm


def test_places_and_ground_checks_are_entered_on_the_page(browser, visit):
    browser.post(
        url("spot_add", visit.pk),
        {"place-room": "Study", "place-spot": "desk seat", "place-use": "work"},
    )
    entered = Spot.objects.get(name="desk seat")
    again = {"place-room": "Study", "place-spot": "desk seat", "place-use": "work"}
    chosen = f'<option value="{entered.pk}" selected>'
    for asked in ({"headers": HTMX}, {"follow": True}):  # the next reading is taken there
        assert chosen in browser.post(url("spot_add", visit.pk), again, **asked).content.decode()
    browser.post(url("ground_point_add", visit.pk), {"point-name": "rod"})
    point = visit.property.ground_points.get()
    assert str(Spot.objects.get(name="desk seat")) == "Study, desk seat"
    answer = browser.post(
        url("ground_check_add", visit.pk),
        {"check-point": point.pk, "check-outlet_test": "fault", "check-voltage_v": ""},
        headers=HTMX,
    )
    assert GroundCheck.objects.get().outlet_test == "fault"
    assert "Faulty outlet" in answer.content.decode()
    assert "Locate buried services before driving a ground rod." in answer.content.decode()
    check = GroundCheck.objects.get()
    page = url("ground_check_correct", check.pk)
    assert browser.get(page).status_code == 200
    corrected = {"point": point.pk, "outlet_test": "ok", "version": version_of(check)}
    assert browser.post(page, corrected).status_code == 302
    assert "Faulty outlet" not in browser.get(url("visit_detail", visit.pk)).content.decode()


def test_from_the_first_row_to_the_seal(browser, visit, row):
    browser.post(url("reading_add", visit.pk), row)
    page = browser.get(url("visit_detail", visit.pk)).content.decode()
    assert "The supply voltage of the day is not written down." in page
    refused = browser.post(url("visit_seal", visit.pk), {"sure": "on"}, follow=True)
    assert "supply voltage" in refused.content.decode()
    assert Visit.objects.get(pk=visit.pk).sealed_at is None
    browser.post(
        url("ground_check_add", visit.pk),
        {"check-point": row["ground_point"], "check-outlet_test": "ok"},
    )
    conditions = {
        "label": "Second look",
        "date": BASELINE_DAY.isoformat(),
        "assessor": "A. Brook",
        "supply_voltage_v": "231.5",
        "humidity_percent": "48",
        "version": version_of(visit),
    }
    assert browser.post(url("visit_edit", visit.pk), conditions).status_code == 302
    assert "Nothing is missing." in browser.get(url("visit_detail", visit.pk)).content.decode()
    browser.post(url("visit_seal", visit.pk))
    assert Visit.objects.get(pk=visit.pk).sealed_at is None  # nobody said that they are sure
    answer = browser.post(url("visit_seal", visit.pk), {"sure": "on"}, follow=True)
    sealed = answer.content.decode()
    assert "Nothing in it changes any more." in sealed
    assert 'action="/visits/' not in sealed.replace(f'action="/visits/{visit.pk}/"', "")
    assert browser.post(url("reading_add", visit.pk), row).status_code == 422
    assert browser.post(url("visit_edit", visit.pk), conditions).status_code == 422
    assert visit.readings.count() == 1


def test_the_second_of_two_who_change_the_conditions_is_told(browser, visit):
    conditions = {
        "label": "Second look",
        "date": BASELINE_DAY.isoformat(),
        "version": version_of(visit),
    }
    first = browser.post(url("visit_edit", visit.pk), conditions | {"humidity_percent": "40"})
    second = browser.post(url("visit_edit", visit.pk), conditions | {"humidity_percent": "60"})
    assert (first.status_code, second.status_code) == (302, 422)
    assert "changed this meanwhile, so nothing of yours was saved." in second.content.decode()
    assert Visit.objects.get(pk=visit.pk).humidity_percent == 40.0


def test_a_reading_is_corrected_and_set_aside_with_a_reason(browser, visit, row):
    browser.post(url("reading_add", visit.pk), row)
    reading = visit.readings.get()
    corrected = row | {"x": "5", "version": version_of(reading)}
    assert browser.post(url("reading_correct", reading.pk), corrected).status_code == 302
    assert Reading.objects.get(pk=reading.pk).x == 5.0
    assert browser.post(url("reading_set_aside", reading.pk), {"reason": ""}).status_code == 422
    browser.post(url("reading_set_aside", reading.pk), {"reason": "hand moved"})
    assert "hand moved" in browser.get(url("visit_detail", visit.pk)).content.decode()
    browser.post(url("reading_set_aside", reading.pk), {"take_back": "1"})
    assert Reading.objects.get(pk=reading.pk).set_aside == ""


def test_a_reading_is_followed_down_to_its_certificate_and_rules(browser, visit, row):
    browser.post(url("reading_add", visit.pk), row)
    page = browser.get(url("reading_detail", visit.readings.get().pk)).content.decode()
    for word in ("&lt;12", "field meter A", "K-100", "resultant-1", "SBM-2015", "In force"):
        assert word in page, word


def test_what_a_follow_up_repeats_is_said_on_its_page_and_sheet(browser, cast):
    follow_up = visits.plan_visit(
        home=cast.case.property,
        kind="follow-up",
        day=cast.case.visits.get(kind="follow-up").date,
        by=cast.people["office"],
    )
    before = cast.case.visits.get(kind="baseline").readings
    as_if_so_from_the_start(before.all(), load="oven and fridge")
    page = browser.get(url("visit_detail", follow_up.pk)).content.decode()
    assert "running then: oven and fridge" in page
    assert "What to read" in page and "As at the visit" in page
    assert "1 row is open." in page
    sheet = browser.get(url("visit_sheet", follow_up.pk)).content.decode()
    assert "To be read again" in sheet
    assert "field meter A" in sheet and "running then: oven and fridge" in sheet
    assert "Bedroom" in sheet


def test_another_guideline_may_be_chosen(browser, cast):
    visit = cast.case.visits.get(kind="baseline")
    page = browser.get(url("visit_detail", visit.pk) + "?guideline=SBM-2008").content.decode()
    assert "severe concern" in page
    assert "severe anomaly" in browser.get(url("visit_detail", visit.pk)).content.decode()


def _queries(browser, path) -> int:
    with CaptureQueriesContext(connection) as queries:
        assert browser.get(path).status_code == 200
    return len(queries)


def test_a_case_may_bring_its_own_placement_uncertainty(browser, cast):
    # 48 V/m, gain 6 % expanded, resolution 0.1: u² = (0.03·48)² + (p·48)² + 0.1²/12. With p = 0.05
    # u = 2.80, U = 5.6; with p = 0.20 u = 9.71, U = 19.
    reading = Reading.objects.filter(visit__kind="baseline").get()
    page = url("reading_detail", reading.pk)
    assert "48 ± 6" in browser.get(page).content.decode()
    query = "?guideline=SBM-2015&placement=20"
    assert "48 ± 19" in browser.get(page + query).content.decode()
    on_visit = browser.get(url("visit_detail", reading.visit_id) + query).content.decode()
    assert "48 ± 19" in on_visit
    assert f"{page}?guideline=SBM-2015&amp;placement=20" in on_visit
    for odd in ("nan", "-1", "101", "x", ""):
        assert "48 ± 6" in browser.get(f"{page}?placement={odd}").content.decode()


def test_lists_cost_the_same_for_many_rows(browser, cast, visit, row):
    office = cast.people["office"]
    browser.post(url("reading_add", visit.pk), row)
    pages = (url("visit_list"), url("visit_detail", visit.pk))
    for page in pages:
        browser.get(page)  # warm
    few = [_queries(browser, page) for page in pages]
    for number in range(20):
        visits.plan_visit(
            home=cast.case.property,
            kind="baseline",
            day=BASELINE_DAY,
            by=office,
            label=f"no. {number}",
        )
        browser.post(url("reading_add", visit.pk), row | {"x": str(number + 1)})
    assert [_queries(browser, page) for page in pages] == few
    assert "no. 19" in browser.get(pages[0]).content.decode()


def test_a_visit_of_another_assessor_is_in_no_list(cast, visit, client):
    cast.log_in(client, "another assessor")
    assert "Second look" not in client.get(url("visit_list")).content.decode()


def in_german(cast):
    User.objects.filter(pk=cast.people["its assessor"].pk).update(language="de")
    return {"Accept-Language": "de"}


def test_the_pages_are_german_in_german(browser, cast, visit, row):
    german = in_german(cast)
    browser.post(url("reading_add", visit.pk), row | {"x": "4,5"}, headers=german)
    page = browser.get(url("visit_detail", visit.pk), headers=german).content.decode()
    assert "4,5" in page
    for word in ("Next reading", "Still missing", "Ground check", "Conditions", "Spot"):
        assert word not in page, word
    registers = browser.get(url("instrument_list"), headers=german).content.decode()
    assert "What falls due" not in registers


@pytest.mark.parametrize(
    "name", ["reading_add", "ground_check_add", "spot_add", "ground_point_add", "visit_seal"]
)
def test_entries_answer_to_post_alone(browser, visit, name):
    assert browser.get(url(name, visit.pk)).status_code == 405


def test_what_nobody_has_looked_through_is_not_sealed(cast, browser, visit, row):
    """Another person enters a reading while the page of the first one stands open."""
    office = cast.people["office"]
    visits.change_conditions(visit=visit, by=office, humidity_percent=45, supply_voltage_v=231)
    record_ground_check(visit=visit, by=office, point=GroundPoint.objects.get(), outlet_test="ok")
    browser.post(url("reading_add", visit.pk), row)
    seen = re.search(r'name="seen" value="([^"]+)"', page_of(browser, visit))
    sealing = {"sure": "on", "seen": seen[1]}
    browser.post(url("reading_add", visit.pk), row | {"x": "4"})
    answer = browser.post(url("visit_seal", visit.pk), sealing, follow=True)
    assert "Somebody entered or changed something meanwhile" in answer.content.decode()
    visit.refresh_from_db()
    assert visit.sealed_at is None
    seen = re.search(r'name="seen" value="([^"]+)"', answer.content.decode())
    sealing["seen"] = seen[1]
    browser.post(url("visit_seal", visit.pk), sealing)
    visit.refresh_from_db()
    assert visit.sealed_at is not None
