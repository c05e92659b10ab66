"""The list of what a visit has to read: a tap fills the form, and the form fits the quantity."""

import re

import pytest
from django.urls import reverse

from surveys.models import GroundPoint, Instrument, Measurand, Reading, Spot
from surveys.services import visits
from surveys.services.repeat import to_read
from tests.cast import make_cast
from tests.factories import (
    BASELINE_DAY,
    CalibrationFactory,
    SpotFactory,
    VisitFactory,
    add_reading,
)

pytestmark = pytest.mark.django_db
HTMX = {"HX-Request": "true"}


@pytest.fixture
def cast():
    return make_cast()


@pytest.fixture
def browser(cast, client):
    cast.log_in(client, "its assessor")
    return client


@pytest.fixture
def baseline(cast):
    """A sealed baseline: a field and a flux density at each of two spots."""
    home = cast.case.property
    visit = VisitFactory(property=home, label="thorough", date=BASELINE_DAY.replace(day=28))
    pipe = GroundPoint.objects.create(property=home, name="water pipe")
    field = CalibrationFactory()
    flux = CalibrationFactory(quantity="magnetic flux density", unit="nT")
    for name in ("bed head", "desk"):
        spot = SpotFactory(home=home, name=name)
        add_reading(visit, spot, field, total=40.0, ground_point=pipe)
        add_reading(
            visit, spot, flux, measurand=Measurand.MAGNETIC_FLUX_DENSITY, unit="nT", total=150.0
        )
    return visit


@pytest.fixture
def follow_up(cast, baseline):
    return visits.plan_visit(
        home=cast.case.property, kind="follow-up", day=baseline.date.replace(month=4),
        by=cast.people["office"],
    )  # fmt: skip


def page_of(browser, visit, query=""):
    return browser.get(reverse("visit_detail", args=[visit.pk]) + query).content.decode()


def taps(page):
    """The addresses of the rows."""
    rows = re.search(r'<ul class="to-read">.*?</ul>', page, re.DOTALL).group()
    return [
        tap.replace("&amp;", "&").partition("#")[0] for tap in re.findall(r'href="([^"]+)"', rows)
    ]


def selected(page, name):
    select = re.search(rf'<select name="{name}".*?</select>', page, re.DOTALL)
    return (
        re.search(r'<option value="([^"]*)" selected', select.group()).group(1) if select else None
    )


def test_a_tap_fills_the_form_as_the_baseline_was_read(browser, follow_up):
    page = page_of(browser, follow_up)
    assert "4 rows are open." in page and "before 40" in re.sub(r"\s+", " ", page)
    field, flux = taps(page)[:2]
    row = Reading.objects.filter(visit__label="thorough").order_by("position").first()
    page = page_of(browser, follow_up, field)
    for name in ("spot", "instrument", "ground_point"):
        assert selected(page, name) == str(getattr(row, f"{name}_id"))
    assert selected(page, "measurand") == row.measurand and selected(page, "unit") == "V/m"
    page = page_of(browser, follow_up, flux)
    assert selected(page, "unit") == "nT"
    assert selected(page, "ground_point") in (None, "")  # a flux density needs none


def test_twelve_rows_are_typed_one_after_the_other_without_a_panel(browser, follow_up):
    """Each answer has the next open row in its form; only the number is typed."""
    page = page_of(browser, follow_up, taps(page_of(browser, follow_up))[0])
    for n_open in (3, 2, 1, 0):
        sent = {
            name: selected(page, name)
            for name in ("spot", "measurand", "instrument", "ground_point", "unit", "state")
        }
        sent = {name: value for name, value in sent.items() if value} | {"total": "2"}
        url = reverse("reading_add", args=[follow_up.pk])
        page = browser.post(url, sent, headers=HTMX).content.decode()
        words = "1 row is open." if n_open == 1 else f"{n_open} rows are open."
        assert words in page, page
        assert 'class="saved"' in page and "band" in page
    before = Reading.objects.filter(visit__label="thorough").order_by("position")
    now = follow_up.readings.order_by("position")
    wanted, read = ([(row.spot_id, row.measurand) for row in rows] for rows in (before, now))
    assert read == wanted


@pytest.mark.parametrize("measurand", list(Measurand))
def test_only_meters_and_units_that_fit_the_quantity_are_offered(browser, follow_up, measurand):
    meter = Instrument.objects.create(name="body meter")
    volts = CalibrationFactory(instrument=meter, quantity="body voltage", unit="mV")
    asked = {"measurand": measurand, "of": "quantity"}
    answer = browser.get(
        reverse("reading_fields", args=[follow_up.pk]), asked, headers=HTMX
    ).content.decode()
    assert set(re.findall(r'name="([^"]+)"', answer)) == {"instrument", "unit"}
    meters = re.findall(r'<option value="(\d+)"', answer)
    assert (str(volts.instrument_id) in meters) == (measurand == Measurand.BODY_VOLTAGE)
    assert all(f'value="{unit}"' in answer for unit in measurand.units)


def test_a_body_voltage_has_no_axes(browser, follow_up):
    volts = CalibrationFactory(quantity="body voltage", unit="mV")
    sent = {
        "spot": Spot.objects.filter(room__property=follow_up.property).first().pk, "x": "7",
        "measurand": Measurand.BODY_VOLTAGE, "instrument": volts.instrument_id, "unit": "mV",
        "state": "as-used",
    }  # fmt: skip
    answer = browser.post(reverse("reading_add", args=[follow_up.pk]), sent)
    assert answer.status_code == 422 and "Body voltage has no axes" in answer.content.decode()


def test_a_baseline_lists_every_spot_in_each_quantity_read_so_far(browser, cast):
    home = cast.case.property
    visit = VisitFactory(property=home, label="open", sealed_at=None)
    spots = [SpotFactory(home=home) for _n in range(2)]
    n_spots = Spot.objects.filter(room__property=home).count()
    assert [row.measurand for row in to_read(visit, visit)] == [""] * n_spots
    add_reading(visit, spots[0], CalibrationFactory(), total=4.0)
    rows = to_read(visit, visit)
    assert len(rows) == n_spots and sum(row.done for row in rows) == 1
    flux = CalibrationFactory(quantity="magnetic flux density", unit="nT")
    add_reading(
        visit, spots[1], flux, measurand=Measurand.MAGNETIC_FLUX_DENSITY, unit="nT", total=9.0
    )
    assert len(to_read(visit, visit)) == 2 * n_spots


def test_ten_spots_of_a_room_are_ten_lines(browser, follow_up):
    lines = "\n".join(f"seat {n}" for n in range(10)) + "\n\n seat 3 \n"
    sent = {"place-room": "Hall", "place-spot": lines, "place-use": "seating"}
    browser.post(reverse("spot_add", args=[follow_up.pk]), sent)
    spots = Spot.objects.filter(room__name="Hall").order_by("pk")
    assert [spot.name for spot in spots] == [f"seat {n}" for n in range(10)]
    assert {spot.use for spot in spots} == {"seating"}


def test_of_ten_spots_with_one_wrong_none_is_added(browser, follow_up):
    sent = {"place-room": "Hall", "place-spot": "one\n" + "x" * 200, "place-use": "other"}
    answer = browser.post(reverse("spot_add", args=[follow_up.pk]), sent)
    assert answer.status_code == 422 and "is longer than" in answer.content.decode()
    assert not Spot.objects.filter(room__name="Hall").exists()


def test_the_note_on_the_key_is_beside_the_form(browser, follow_up):
    type(follow_up).objects.filter(pk=follow_up.pk).update(instructions="key at the neighbour's")
    page = page_of(browser, follow_up)
    assert page.index("key at the neighbour") < page.index('id="entry"')


def test_the_rows_of_another_visit_can_be_read_again(browser, cast, baseline, follow_up) -> None:
    """A second follow-up reads what the first one read, or what any other sealed visit did."""
    earlier = cast.case.visits.get(kind="baseline")
    spot = earlier.readings.get().spot
    choosing = page_of(browser, follow_up)
    assert f'<option value="{earlier.pk}"' in choosing
    chosen = page_of(browser, follow_up, f"?rows={earlier.pk}")
    (row,) = to_read(follow_up, earlier)
    assert row.spot == spot and not row.done
    assert f"As at the visit {earlier.label}" in chosen and "1 row is open." in chosen
    assert f"rows={earlier.pk}" in chosen.split('id="entry"')[1]  # and stays chosen after an entry


def test_a_visit_of_another_home_is_no_pattern(browser, baseline, follow_up) -> None:
    stranger = VisitFactory(date=BASELINE_DAY)
    page = page_of(browser, follow_up, f"?rows={stranger.pk}")
    assert f"As at the visit {baseline.label}" in page and f"rows={stranger.pk}" not in page
