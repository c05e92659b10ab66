"""A switching trial as an assessor walks it: with a thumb on a phone, and at a desk."""

import os

import pytest
from playwright.sync_api import expect

from surveys.models import Reading
from surveys.services import circuits, visits
from tests.factories import BASELINE_DAY, CalibrationFactory, UserFactory, assign, compared_case

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

SHOWN = {"Everything on": "25", "F1 off": "1", "F2 off": "30", "F3 off": "19"}


@pytest.fixture
def visitor(look, visitors):
    case = compared_case()
    home = case.property
    assessor = UserFactory(role="assessor")
    assign(assessor, home)
    visit = visits.plan_visit(
        home=home, kind="baseline", day=BASELINE_DAY, by=assessor, assessor="A. Brook"
    )
    for name in ("F1", "F2", "F3"):
        circuits.add_circuit(home=home, by=assessor, name=name, label="bedroom")
    CalibrationFactory(resolution=0.1)
    visitor = visitors.enter(assessor, **look)
    visitor.open(f"/visits/{visit.pk}/")
    visitor.follow("Switching trial")
    return visitor


def shot(visitor, name, look):
    if folder := os.environ.get("SHOTS"):
        visitor.page.screenshot(path=f"{folder}/{name}-{look['width']}.png", full_page=True)


def choose(visitor, axis):
    summary = visitor.page.locator("summary").first
    if not visitor.page.get_by_label("How the meter is read").is_visible():
        summary.click()
    quantity = visitor.page.get_by_label("Quantity")
    quantity.select_option("electric-field-potential-free")
    visitor.page.get_by_label("How the meter is read").select_option(axis)
    visitor.press("Show the states")


def test_a_trial_state_by_state(look, visitor) -> None:
    page = visitor.page
    choose(visitor, "")
    shot(visitor, "walk-begun", look)
    visitor.look_over("a trial that begins")
    states = page.locator(".states li")
    expect(states).to_have_count(9)
    for at, (title, value) in enumerate(SHOWN.items()):
        state = states.nth(at)
        expect(state.get_by_role("heading")).to_have_text(title)
        expect(state).to_have_attribute("aria-current", "step")
        if look["width"] <= 600:
            button = state.get_by_role("button").bounding_box()
            assert button["height"] >= 44, "a target for a thumb"
        state.get_by_label("X", exact=True).fill(value)
        state.get_by_label("Y", exact=True).fill("<0.3")
        state.get_by_role("button").click()
        expect(states.nth(at + 1)).to_have_attribute("aria-current", "step")
    expect(states.nth(1)).to_contain_text("falls by")
    alert = page.get_by_role("alert").filter(has_text="Opening F2")
    expect(alert).to_contain_text("Do not open it alone.")
    shot(visitor, "walk", look)
    visitor.look_over("a trial on its way")
    assert Reading.objects.filter(state="trial").count() == 4


def test_one_axis_after_the_other(look, visitor) -> None:
    page = visitor.page
    for axis, value in (("x", "12"), ("y", ">2000")):
        choose(visitor, axis)
        state = page.locator(".states li").first
        state.get_by_role("textbox").fill(value)
        state.get_by_role("textbox").press("Enter")
        expect(state.get_by_role("textbox")).to_have_count(0)
    shot(visitor, "walk-axis", look)
    visitor.look_over("a trial of one axis")
    row = Reading.objects.get(state="trial")
    assert (row.x, row.y, row.y_mark, row.z) == (12.0, 2000.0, ">", None)


def test_a_faulty_display_is_said_at_its_field(look, visitor) -> None:
    choose(visitor, "")
    state = visitor.page.locator(".states li").first
    state.get_by_label("X", exact=True).fill("twelve")
    state.get_by_role("button").click()
    expect(state.locator(".errorlist")).to_be_visible()
    expect(state.get_by_label("X", exact=True)).to_have_value("twelve")
    shot(visitor, "walk-wrong", look)
