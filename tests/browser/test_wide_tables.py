"""The rows of an upload that are wrong: where and what stays in sight, however wide the table."""

import pytest
from playwright.sync_api import expect

from mitigation.services import uploads
from tests.browser.test_files import work
from tests.factories import UserFactory
from tests.surveys.case_folders import READINGS, TABLES, as_files, as_zip, changed

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def page(look, visitors):
    visitor = visitors.enter(UserFactory(), **look)
    rows = changed(READINGS, 3, x="forty")
    rows = changed(rows, 4, state="perhaps", unit="furlong")
    rows = changed(rows, 5, state="perhaps")  # a column far to the right
    data = as_zip(as_files({**TABLES, "readings.csv": rows})).data
    visitor.open("/uploads/")
    folder = {"name": "case.zip", "mimeType": "application/zip", "buffer": data}
    visitor.page.get_by_label("Case folder").set_input_files(folder)
    visitor.press("Check the files")
    work(uploads.CHECK_UPLOAD)
    expect(visitor.page.get_by_role("heading", name="Not imported")).to_be_visible()
    visitor.look_over("an upload with wrong cells")
    return visitor.page


def is_in(box, frame):
    return box["x"] >= frame["x"] - 1 and box["x"] + box["width"] <= frame["x"] + frame["width"] + 1


def test_place_and_wrong_cell_stay_in_sight(look, page) -> None:
    region = page.get_by_role("region", name="readings.csv")
    row = region.locator("tr", has_text="perhaps").last
    cell, place = row.locator("td.wrong"), row.locator("th")
    expect(place).to_contain_text("state")
    if look["width"] <= 600:
        rest = row.locator("td:not(.wrong)").first.bounding_box()
        assert cell.bounding_box()["y"] > place.bounding_box()["y"]
        assert cell.bounding_box()["y"] < rest["y"], "what is wrong comes first"
        assert region.evaluate("e => e.scrollWidth <= e.clientWidth + 1"), "a list, no table"
        return
    assert region.evaluate("e => e.scrollWidth > e.clientWidth"), "wide enough to be scrolled"
    for left in (0, 10_000):
        region.evaluate("(e, left) => { e.scrollLeft = left; }", left)
        frame = region.bounding_box()
        assert is_in(cell.bounding_box(), frame) and is_in(place.bounding_box(), frame)
        edge = place.bounding_box()["x"] + place.bounding_box()["width"]
        assert cell.bounding_box()["x"] >= edge - 1, "beside the place, not under it"
