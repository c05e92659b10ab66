"""A day of an assessor: one visit from the blank sheet to the seal."""

from datetime import timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import Locator, expect

from mitigation.models import Case
from mitigation.services.visits import plan_case_visit
from surveys.models import Measurand, Visit
from surveys.services.visits import plan_visit
from tests.browser.visitor import PHONE_WIDTH, Visitor
from tests.cast import Cast, make_cast
from tests.factories import (
    BASELINE_DAY,
    CalibrationFactory,
    CaseFactory,
    PropertyFactory,
    SpotFactory,
    VisitFactory,
    add_reading,
)

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def planned(cast: Cast, case: Case, asker: str) -> Visit:
    """A baseline of today, planned by the office."""
    now = timezone.now()
    day = timezone.localdate(now)
    return plan_case_visit(
        case=case, kind="baseline", day=day, assessor=cast.people[asker],
        by=cast.people["office"], now=now, instructions="Ring twice.",
    )  # fmt: skip


def homes() -> tuple[Cast, Visit, Visit]:
    """The cast, with a visit for each of the two assessors; one meter hangs in the van."""
    cast = make_cast()
    today = timezone.localdate()
    CalibrationFactory(calibrated_on=today - timedelta(30), due_on=today + timedelta(300))
    mine = CaseFactory(
        reference="EB-MINE", property=PropertyFactory(client__name="Ada Lehn", address="Way 8")
    )
    theirs = CaseFactory(reference="EB-THEIRS", property=PropertyFactory(address="Way 9"))
    return (
        cast,
        planned(cast, mine, "its assessor"),
        planned(cast, theirs, "another assessor"),
    )


def test_from_the_blank_sheet_to_the_seal(look, visitors) -> None:
    cast, mine, theirs = homes()
    visitor = visitors.enter(cast.people["its assessor"], **look)
    visitor.open("/")
    see_own_work_alone(visitor, theirs)
    name_the_places(visitor)
    type_readings(visitor)
    set_one_aside(visitor)
    bring_what_is_missing(visitor)
    seal(visitor, cast.people["its assessor"].name)
    mine.refresh_from_db()
    assert mine.sealed_by == cast.people["its assessor"]
    assert mine.readings.filter(set_aside="").count() == 2


def see_own_work_alone(visitor: Visitor, theirs: Visit) -> None:
    page = visitor.page
    soon = page.get_by_role("region", name="Visits of the next two weeks")
    expect(soon).to_contain_text("EB-MINE")
    expect(soon).not_to_contain_text("EB-THEIRS")
    visitor.look_over("an assessor's desk")
    visitor.follow("Cases")
    expect(page.get_by_role("link", name="EB-MINE")).to_be_visible()
    expect(page.get_by_role("link", name="EB-THEIRS")).to_have_count(0)
    visitor.open(f"/visits/{theirs.pk}/")
    expect(page.get_by_role("heading", name="Not found")).to_be_visible()
    visitor.open("/cases/EB-THEIRS/")
    expect(page.get_by_role("heading", name="Not found")).to_be_visible()
    visitor.look_over("nothing at this address")
    visitor.follow("Visits")
    expect(page.get_by_role("region", name="Visits")).not_to_contain_text("Way 9")
    row = page.get_by_role("row").filter(has_text="Ada Lehn")
    row.get_by_role("link").click()
    expect(page.get_by_text("Ring twice.")).to_be_visible()
    visitor.look_over("a visit before its first reading")
    visitor.follow("Blank sheet to print")
    expect(page.get_by_role("heading", name="Further spots")).to_be_visible()
    visitor.look_over("a blank sheet")
    page.go_back()


def name_the_places(visitor: Visitor) -> None:
    page = visitor.page
    visitor.mark()
    page.get_by_label("Room").fill("Bedroom")
    page.get_by_role("textbox", name="Spots, one a line").fill("bed head")
    page.get_by_label("Use").select_option("sleeping")
    visitor.press("Add the spot")
    expect(page.get_by_role("button", name="Enter the reading")).to_be_visible()
    page.get_by_text("Add a spot or a ground point").click()
    page.get_by_role("textbox", name="Ground point").fill("water pipe")
    visitor.press("Add the ground point")
    expect(page.get_by_label("Ground point").locator("option").last).to_have_text("water pipe")


def enter_reading(visitor: Visitor, **axes: str) -> None:
    for label, words in axes.items():
        visitor.page.get_by_label(label, exact=True).fill(words)
    visitor.press("Enter the reading")


def rows(visitor: Visitor) -> Locator:
    region = visitor.page.get_by_role("region", name="Readings", exact=True)
    return region.get_by_role("row").filter(has_text="bed head")


def type_readings(visitor: Visitor) -> None:
    """3, 4 and 12 V/m come to 13 V/m, which is band 3 of SBM-2015 (5 to 50 V/m).

    Put back, the probe shows 3, 4.2 and 12.1, which come to sqrt(9 + 17.64 + 146.41) = 13.15.
    """
    page = visitor.page
    page.get_by_role("combobox", name="Spot").select_option(label="Bedroom, bed head")
    page.get_by_label("Quantity").select_option("electric-field-ground")
    page.get_by_label("Instrument").select_option(label="field meter A")
    page.get_by_label("Ground point").first.select_option(label="water pipe")
    unit = page.get_by_label("Unit")
    expect(unit.locator("option", has_text="nT")).to_have_count(0)
    unit.select_option("V/m")
    enter_reading(visitor, X="three")
    expect(page.get_by_text("A number of 0 or more, such as")).to_be_visible()
    visitor.look_over("a reading typed wrongly")
    enter_reading(visitor, X="3", Y="4", Z="12")
    expect(rows(visitor)).to_have_count(1)
    expect(rows(visitor).first).to_contain_text("13.0")
    expect(rows(visitor).first).to_contain_text("band 3")
    expect(page.get_by_label("X", exact=True)).to_be_focused()  # the next row goes on here
    expect(page.get_by_role("combobox", name="Spot")).to_contain_text("bed head")
    enter_reading(visitor, X="3", Y="4.2", Z="12.1")
    expect(rows(visitor)).to_have_count(2)
    expect(rows(visitor).first).to_contain_text("13.2")
    enter_reading(visitor, **{"or total": "300"})
    expect(rows(visitor)).to_have_count(3)
    finding = page.get_by_role("region", name="Findings per spot")
    expect(finding).to_contain_text("band 4")
    assert visitor.is_marked()  # all of it without a page load
    visitor.look_over("a visit with readings")


def set_one_aside(visitor: Visitor) -> None:
    page = visitor.page
    rows(visitor).first.get_by_role("link").click()
    visitor.look_over("an open reading")
    page.get_by_label("Else: why this reading does not count").fill("The lead lay on a lamp.")
    visitor.press("Set it aside")
    expect(rows(visitor).first).to_contain_text("set aside: The lead lay on a lamp.")
    finding = page.get_by_role("region", name="Findings per spot")
    expect(finding).to_contain_text("13.2")
    expect(finding).to_contain_text("of 2 readings")


def bring_what_is_missing(visitor: Visitor) -> None:
    page = visitor.page
    missing = page.get_by_text("Still missing:").locator("xpath=following-sibling::ul")
    for words in ("supply voltage", "humidity", "Ground point water pipe was used, but not"):
        expect(missing).to_contain_text(words)
    expect(page.get_by_role("button", name="Seal the visit")).to_have_count(0)
    visitor.follow("Change conditions")
    visitor.look_over("the conditions of a visit")
    page.get_by_label("Supply voltage").fill("230")
    page.get_by_label("Relative humidity").fill("130")
    visitor.press("Save")
    expect(page.get_by_text("A number from 0 to 100.")).to_be_visible()
    page.get_by_label("Relative humidity").fill("48")
    visitor.press("Save")
    expect(missing).not_to_contain_text("humidity")
    page.get_by_text("Enter a ground check").click()
    page.get_by_label("Ground point", exact=True).last.select_option(label="water pipe")
    page.get_by_label("Outlet test").select_option("ok")
    visitor.press("Enter the check")
    expect(page.get_by_text("Nothing is missing.", exact=False)).to_be_visible()
    visitor.look_over("a visit to be sealed")


def seal(visitor: Visitor, name: str) -> None:
    page = visitor.page
    visitor.press("Seal the visit")  # the browser asks for the tick first
    expect(page.get_by_role("button", name="Seal the visit")).to_be_visible()
    page.get_by_label("I have looked through the readings").check()
    visitor.press("Seal the visit")
    expect(page.get_by_role("main")).to_contain_text(f"({name})")
    expect(page.get_by_role("button", name="Enter the reading")).to_have_count(0)
    expect(rows(visitor).last).to_contain_text("water pipe")
    visitor.look_over("a sealed visit")
    visitor.follow("Registers")
    visitor.follow("Own placement uncertainty")
    expect(page.get_by_role("region", name="Repeated spots")).to_contain_text("bed head")
    visitor.look_over("own placement uncertainty")


def test_a_danger_stops_the_page(look, visitors) -> None:
    """50 Hz: above 5000 V/m (ICNIRP 2010, general public)."""
    cast, mine, _theirs = homes()
    visitor = visitors.enter(cast.people["its assessor"], **look)
    page = visitor.page
    visitor.open(f"/visits/{mine.pk}/")
    name_the_places(visitor)
    page.get_by_role("combobox", name="Spot").select_option(label="Bedroom, bed head")
    page.get_by_label("Instrument").select_option(label="field meter A")
    page.get_by_label("Unit").select_option("V/m")
    enter_reading(visitor, **{"or total": "5001"})
    expect(page.get_by_role("alert")).to_contain_text("Stop, keep clear")
    visitor.look_over("a dangerous reading")


def test_a_follow_up_is_typed_from_its_list_on_a_phone(visitors) -> None:
    """No panel is opened and nothing is chosen: a tap, a number, and so on to the end."""
    cast = make_cast()
    home = cast.case.property
    baseline = VisitFactory(property=home, label="thorough", date=BASELINE_DAY.replace(day=28))
    field = CalibrationFactory()
    flux = CalibrationFactory(quantity="magnetic flux density", unit="nT")
    for n in range(6):
        spot = SpotFactory(home=home, name=f"place {n}")
        add_reading(baseline, spot, field, total=40.0 + n)
        add_reading(
            baseline, spot, flux, measurand=Measurand.MAGNETIC_FLUX_DENSITY, unit="nT", total=150.0
        )
    visit = plan_visit(
        home=home, kind="follow-up", day=baseline.date.replace(month=4), by=cast.people["office"],
        instructions="The key is at the neighbour's.",
    )  # fmt: skip
    visitor = visitors.enter(cast.people["its assessor"], width=PHONE_WIDTH, scheme="light")
    page = visitor.page
    visitor.open(f"/visits/{visit.pk}/")
    expect(page.get_by_text("12 rows are open.")).to_be_visible()
    visitor.look_over("what a follow-up has to read")
    page.locator(".to-read a").first.click()
    for n_open in range(11, -1, -1):
        total = page.get_by_label("or total")
        expect(total).to_be_focused()
        total.fill("3")
        visitor.press("Enter the reading")
        words = "1 row is open." if n_open == 1 else f"{n_open} rows are open."
        expect(page.get_by_text(words)).to_be_visible()
        expect(page.get_by_role("status").filter(has_text="place")).to_be_in_viewport()
    visitor.look_over("a follow-up with all its rows read")
    assert visit.readings.count() == 12
    assert not page.locator("details[open]").count()


def test_only_fields_that_fit_the_quantity_are_in_sight(visitors) -> None:
    cast, mine, _theirs = homes()
    SpotFactory(home=mine.property)
    CalibrationFactory(quantity="body voltage", unit="mV")
    visitor = visitors.enter(cast.people["its assessor"], width=PHONE_WIDTH, scheme="light")
    page = visitor.page
    visitor.open(f"/visits/{mine.pk}/")
    axis, ground = page.get_by_label("X", exact=True), page.locator("#id_ground_point")
    quantity = page.get_by_label("Quantity")
    for measurand, has_axes, has_ground in (
        ("body-voltage", False, True), ("magnetic-flux-density", True, False),
        ("electric-field-potential-free", True, False), ("electric-field-ground", True, True),
    ):  # fmt: skip
        quantity.select_option(measurand)
        expect(axis).to_be_visible(visible=has_axes)
        expect(ground).to_be_visible(visible=has_ground)
    axis.fill("7")
    quantity.select_option("body-voltage")
    expect(axis).to_be_visible()  # what is filled is never out of sight
