"""A day of the office: the desk, a new client, and what real life does to cases."""

import io
from datetime import timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect
from python_calamine import CalamineWorkbook

from consult.models import Letter
from mitigation.models import Case
from surveys.models import Instrument
from tests.browser.visitor import Visitor
from tests.cast import Cast, make_cast
from tests.factories import (
    CalibrationFactory,
    CaseFactory,
    ClientFactory,
    PropertyFactory,
    SpotFactory,
    UserFactory,
    issue_outcome_letter,
)

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

SEARCH = "Reference, client, address or spot"
MORE = "Hold, decline, hand over, another round"


def expect_stage(page: Page, stage: str) -> None:
    current = page.get_by_role("list", name="Stages").locator("[aria-current=step]")
    expect(current).to_have_text(stage)


def busy_practice() -> Cast:
    """One case late, one due today, a letter that failed, a certificate that runs out."""
    cast, today = make_cast(), timezone.localdate()
    Case.objects.filter(pk=cast.case.pk).update(due_on=today - timedelta(days=3))
    home = PropertyFactory(client__name="Ada Lehn", address="Hollow Way 8\n24999 Neustrand")
    SpotFactory(home=home, name="window seat")
    CaseFactory(reference="EB-TODAY", property=home, due_on=today)
    CalibrationFactory(
        instrument=Instrument.objects.create(name="coil C"),
        certificate="K-77",
        due_on=today + timedelta(days=20),
    )
    letter = issue_outcome_letter(case=cast.case, by=None, now=timezone.now())
    Letter.objects.filter(pk=letter.pk).update(state="failed", failure="The disk was full.")
    return cast


def test_the_desk_says_what_comes_next_and_any_case_is_found(look, visitors) -> None:
    cast = busy_practice()
    visitor = visitors.enter(**look)
    page = visitor.page
    visitor.log_in(cast.people["office"].email)
    expect(page.get_by_role("heading", name="Desk")).to_be_visible()
    visitor.look_over("a busy desk")
    due = page.get_by_role("region", name="Due today and late").get_by_role("row")
    expect(due.filter(has_text=cast.case.reference)).to_contain_text("late")
    expect(due.filter(has_text="EB-TODAY")).to_contain_text("today")
    failed = page.get_by_role("region", name="Letters").get_by_role("row").last
    expect(failed).to_contain_text("The disk was full.")
    expect(page.get_by_role("complementary")).to_contain_text("coil C")
    for words in ("EB-TOD", "lehn", "hollow way", "window seat"):
        find(visitor, words, "EB-TODAY", cast.case.reference)
    find(visitor, cast.case.reference, cast.case.reference, "EB-TODAY")
    find(visitor, "nothing like it", None, "EB-TODAY")
    visitor.look_over("no case fits")


def find(visitor: Visitor, words: str, wanted: str | None, other: str) -> None:
    """Type into the list of cases and watch it change in place."""
    page = visitor.page
    visitor.follow("Cases")
    expect(page.get_by_role("heading", name="Cases", exact=True)).to_be_visible()
    visitor.mark()
    page.get_by_role("searchbox", name=SEARCH).press_sequentially(words)
    expect(page.get_by_role("link", name=other, exact=True)).to_have_count(0)
    if wanted:
        expect(page.get_by_role("link", name=wanted, exact=True)).to_be_visible()
    else:
        expect(page.get_by_text("No case fits.")).to_be_visible()
    assert visitor.is_marked()


def test_a_new_client_becomes_a_planned_visit(look, visitors) -> None:
    cast = make_cast()
    visitor = visitors.enter(cast.people["office"], **look)
    visitor.open("/")
    enter_client(visitor)
    enter_home_and_case(visitor)
    write_and_attach(visitor)
    hold_and_decline(visitor)
    plan_a_visit(visitor, cast.people["another assessor"].name)
    hand_over(visitor, cast)
    read_the_history(visitor, cast.people["office"].name)


def enter_client(visitor: Visitor) -> None:
    page = visitor.page
    visitor.follow("Enter a client")
    visitor.look_over("a new client")
    visitor.press("Save")
    expect(page.get_by_label("Name", exact=True)).to_be_focused()  # the browser says it is needed
    page.get_by_label("Name", exact=True).fill("Ines and Karl Odenthal")
    page.get_by_label("Postal address").fill("Post box 12\n24999 Neustrand")
    page.get_by_label("Phone").fill("0151 555 0134")
    visitor.press("Save")
    expect(page.get_by_role("heading", name="Ines and Karl Odenthal")).to_be_visible()
    expect(page.get_by_text("none: letters are posted")).to_be_visible()
    visitor.follow("Enter a contact")
    page.get_by_label("Who is this?").select_option("landlord")
    page.get_by_label("Name", exact=True).fill("Berta Vogt")
    page.get_by_label("Phone").fill("0151 555 0199")
    visitor.look_over("a new contact")
    visitor.press("Save")
    expect(page.get_by_text("Berta Vogt").first).to_be_visible()


def enter_home_and_case(visitor: Visitor) -> None:
    page = visitor.page
    visitor.follow("Enter a property")
    page.get_by_label("Address").fill("Gull Street 5\n24999 Neustrand")
    page.get_by_label("Country").fill("dk")
    page.get_by_label("Supply voltage").fill("230")
    visitor.look_over("a new property")
    visitor.press("Save")
    expect(page.get_by_text("Gull Street 5").first).to_be_visible()
    visitor.look_over("a client with a home")
    visitor.follow("Open a case")
    visitor.look_over("a new case")
    page.get_by_label("Guideline").select_option("SBM-2015")
    page.get_by_label("Reference").fill("EB-NEW")
    visitor.press("Save")
    expect(page.get_by_role("heading", name="EB-NEW")).to_be_visible()
    expect_stage(page, "enquiry")
    expect(page.get_by_role("complementary")).to_contain_text("Berta Vogt, landlord")
    visitor.look_over("an enquiry")


def write_and_attach(visitor: Visitor) -> None:
    page = visitor.page
    visitor.unfold("Write a note")
    page.get_by_label("Write a note").fill("The key is with the landlord.")
    visitor.press("Save the note")
    expect(page.get_by_text("The key is with the landlord.")).to_be_visible()
    sketch = {"name": "rooms.txt", "mimeType": "text/plain", "buffer": b"Bedroom: north side.\n"}
    visitor.unfold("Attach a file")
    page.get_by_label("File", exact=True).set_input_files(sketch)
    visitor.press("Attach")
    with page.expect_download() as download:
        visitor.follow("rooms.txt")
    assert download.value.suggested_filename == "rooms.txt"
    assert download.value.path().read_bytes() == sketch["buffer"]


def hold_and_decline(visitor: Visitor) -> None:
    page = visitor.page
    page.get_by_text(MORE).click()
    visitor.look_over("what may be done with a case")
    page.get_by_label("Put on hold because").fill("on a journey until May")
    visitor.press("Hold")
    expect(page.get_by_text("on a journey until May").first).to_be_visible()
    expect(page.get_by_role("button", name="On to: baseline survey")).to_have_count(0)
    visitor.look_over("a case on hold")
    visitor.press("Resume")
    expect(page.get_by_role("button", name="On to: baseline survey")).to_be_visible()
    page.get_by_text(MORE).click()
    page.get_by_label("Declined because").fill("They have sold the house.")
    visitor.press("Decline")
    expect_stage(page, "declined")
    expect(page.get_by_role("link", name="Plan a visit")).to_have_count(0)
    visitor.look_over("a declined case")
    page.get_by_text(MORE).click()
    page.get_by_label("Reopen at").select_option("enquiry")
    page.get_by_label("because", exact=True).fill("The sale fell through.")
    visitor.press("Reopen")
    expect_stage(page, "enquiry")


def plan_a_visit(visitor: Visitor, assessor: str) -> None:
    page = visitor.page
    day = timezone.localdate() + timedelta(days=5)
    visitor.follow("Plan a visit")
    visitor.look_over("planning a visit")
    page.get_by_label("Kind").select_option("baseline")
    page.get_by_label("Day").fill(day.isoformat())
    page.get_by_label("Assessor", exact=True).select_option(label=assessor)
    page.get_by_label("Note for the assessor").fill("Ring twice.")
    visitor.press("Save")
    expect_stage(page, "baseline survey")
    visits = page.get_by_role("region", name="Visits").get_by_role("row")
    expect(visits.filter(has_text=assessor)).to_contain_text("open")
    visitor.follow("Desk")
    soon = page.get_by_role("region", name="Visits of the next two weeks")
    expect(soon.get_by_role("row").filter(has_text="EB-NEW")).to_contain_text(assessor)
    visitor.follow("EB-NEW")


def hand_over(visitor: Visitor, cast: Cast) -> None:
    page, to = visitor.page, cast.people["its assessor"].name
    page.get_by_text(MORE).click()
    page.get_by_label("Hand over to").select_option(label=to)
    visitor.press("Hand over")
    expect(page.get_by_text(f"Handed over to {to}.")).to_be_visible()
    expect(page.get_by_text(f"Assessor: {to}.")).to_be_visible()
    visitor.look_over("a case handed over")


def read_the_history(visitor: Visitor, name: str) -> None:
    page = visitor.page
    visitor.follow("History: who changed what")
    main = page.get_by_role("main")
    for words in ("on a journey until May", "They have sold the house.", "Berta Vogt", name):
        expect(main).to_contain_text(words)
    visitor.look_over("the history of a case")


def test_two_records_of_one_client_become_one(look, visitors) -> None:
    office = UserFactory()
    keep = ClientFactory(name="Rosa Lindqvist", phone="0151 555 0107")
    gone = ClientFactory(name="R. Lindqvist", email="rosa@example.org", address="")
    home = PropertyFactory(client=gone, address="Gull Street 9")
    ClientFactory(name="Otto Lindqvist")
    visitor = visitors.enter(office, **look)
    page = visitor.page
    visitor.open("/clients/")
    page.get_by_role("searchbox", name="Name, address, phone or e-mail").fill("rosa lind")
    visitor.press("Find")
    visitor.follow("Rosa Lindqvist")
    visitor.follow("Merge with another record")
    visitor.look_over("merging two clients")
    page.get_by_role("radio", name="R. Lindqvist, rosa@example.org").check()
    page.get_by_label("It is the same client.").check()
    visitor.press("Merge")
    expect(page.get_by_role("heading", name="Rosa Lindqvist")).to_be_visible()
    expect(page.get_by_text("rosa@example.org")).to_be_visible()
    expect(page.get_by_text("Gull Street 9")).to_be_visible()
    visitor.look_over("a merged client")
    home.refresh_from_db()
    assert home.client == keep


def test_the_list_that_is_seen_is_the_list_that_is_exported(look, visitors) -> None:
    cast = busy_practice()
    visitor = visitors.enter(cast.people["office"], **look)
    page = visitor.page
    visitor.open("/cases/")
    page.get_by_role("combobox", name="Stage").select_option("enquiry")
    expect(page.get_by_role("link", name=cast.case.reference, exact=True)).to_have_count(0)
    with page.expect_download() as download:
        visitor.follow("As a spreadsheet")
    book = CalamineWorkbook.from_filelike(io.BytesIO(download.value.path().read_bytes()))
    rows = book.get_sheet_by_index(0).to_python()
    assert [row[0] for row in rows[1:]] == ["EB-TODAY"]
    assert "Ada Lehn" in rows[1]
