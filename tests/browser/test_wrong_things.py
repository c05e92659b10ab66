"""What goes wrong in a day: log-ins that end, connections that drop, fingers that click twice."""

import time
from datetime import timedelta

import pytest
from django.contrib import messages
from django.utils import timezone
from playwright.sync_api import Route, expect

from consult.models import Client, Job, Letter
from consult.tasks import run_job
from mitigation.models import Case, Note
from mitigation.tasks import uploads
from tests.browser.test_assessor_day import enter_reading, homes, name_the_places, rows
from tests.browser.test_office_proof import zipped
from tests.browser.visitor import Visitor
from tests.cast import make_cast
from tests.factories import CaseFactory, ClientFactory, UserFactory

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def work_off() -> None:
    """Do what a worker would do."""
    assert uploads  # it registers the import
    for job in Job.objects.filter(state=Job.State.WAITING):
        run_job(job.pk)


def test_a_log_in_that_ended_while_typing_leads_to_the_log_in(look, visitors) -> None:
    cast = make_cast()
    visitor = visitors.enter(cast.people["office"], **look)
    page = visitor.page
    visitor.open("/cases/")
    visitor.context.clear_cookies()
    page.get_by_role("searchbox").press_sequentially("E")
    expect(page.get_by_label("Password")).to_be_visible()
    assert page.url.startswith(f"{visitor.site}/accounts/login/")
    expect(page.get_by_role("heading", name="Cases", exact=True)).to_have_count(0)


def test_what_is_typed_before_the_scripts_arrive_is_searched_for(look, visitors) -> None:
    cast = make_cast()
    visitor = visitors.enter(cast.people["office"], **look)
    page, held = visitor.page, list[Route]()
    page.route("**/htmx*.js", lambda route: held.append(route))
    page.goto(f"{visitor.site}/cases/", wait_until="commit")
    page.get_by_role("searchbox").press_sequentially("nothing like it")
    found = page.get_by_role("link", name=cast.case.reference, exact=True)
    expect(found).to_be_visible()
    for script in held:
        script.continue_()
    expect(page.get_by_text("No case fits.")).to_be_visible()
    expect(found).to_have_count(0)


def ready_to_type(visitor: Visitor, visit) -> None:
    page = visitor.page
    visitor.open(f"/visits/{visit.pk}/")
    name_the_places(visitor)
    page.get_by_role("combobox", name="Spot").select_option(label="Bedroom, bed head")
    page.get_by_label("Quantity").select_option("electric-field-ground")
    page.get_by_label("Instrument").select_option(label="field meter A")
    page.get_by_label("Ground point").first.select_option(label="water pipe")
    page.get_by_label("Unit").select_option("V/m")


def test_a_lost_connection_loses_no_reading(look, visitors) -> None:
    cast, mine, _theirs = homes()
    visitor = visitors.enter(cast.people["its assessor"], **look)
    page = visitor.page
    ready_to_type(visitor, mine)
    visitor.context.set_offline(True)
    enter_reading(visitor, X="3", Y="4", Z="12")
    expect(page.get_by_role("alert")).to_contain_text("There is no connection.")
    expect(page.get_by_label("Z", exact=True)).to_have_value("12")  # nothing has to be typed again
    visitor.look_over("a lost connection")
    assert not mine.readings.exists()
    visitor.context.set_offline(False)
    visitor.press("Enter the reading")
    expect(rows(visitor)).to_have_count(1)
    expect(page.get_by_role("alert")).to_have_count(0)
    assert mine.readings.count() == 1
    assert visitor.forgive("htmx:sendError") > 0


def test_an_answer_that_gets_lost_makes_no_second_reading(look, visitors) -> None:
    """The server has the reading, and the browser does not know; it is sent once more."""
    cast, mine, _theirs = homes()
    visitor = visitors.enter(cast.people["its assessor"], **look)
    page = visitor.page
    ready_to_type(visitor, mine)

    def lose_the_answer(route) -> None:
        route.fetch()
        route.abort("connectionreset")

    page.route("**/readings/**", lose_the_answer, times=1)
    enter_reading(visitor, X="3", Y="4", Z="12")
    expect(page.get_by_role("alert")).to_contain_text("There is no connection.")
    assert mine.readings.count() == 1
    visitor.press("Enter the reading")
    expect(rows(visitor)).to_have_count(1)
    assert mine.readings.count() == 1
    visitor.forgive("htmx:sendError")


def test_two_clicks_do_one_thing(look, visitors) -> None:
    cast, _mine, _theirs = homes()
    case = cast.case
    visitor = visitors.enter(cast.people["office"], **look)
    page = visitor.page
    visitor.open(f"/cases/{case.reference}/")
    page.get_by_role("button", name="Issue the outcome letter").dblclick()
    expect(page.get_by_role("status")).to_be_visible()
    page.wait_for_load_state("networkidle")
    assert Letter.objects.filter(case_reference=case.reference).count() == 1
    visitor.open("/uploads/")
    page.get_by_label("Case folder").set_input_files(zipped())
    visitor.press("Check the files")
    expect(page.get_by_role("heading", name="Being checked")).to_be_visible()
    work_off()
    page.get_by_role("button", name="Import this case").dblclick()
    expect(page.get_by_role("heading", name="Being imported")).to_be_visible()
    work_off()
    assert Case.objects.filter(reference="2026-011").count() == 1
    visitor.open("/cases/EB-MINE/")
    visitor.follow("Plan a visit")
    page.get_by_label("Day").fill((timezone.localdate() + timedelta(days=3)).isoformat())
    page.get_by_label("Kind").select_option("baseline")
    page.get_by_role("button", name="Save", exact=True).dblclick()
    page.wait_for_url("**/cases/EB-MINE/")
    page.wait_for_load_state("networkidle")
    assert Case.objects.get(reference="EB-MINE").visits.count() == 2  # one was there before


@pytest.fixture
def late_answers(monkeypatch) -> None:
    """Every answer comes half a second after its row, so that a second click is another request."""
    say = messages.success

    def say_late(*args, **kwargs) -> None:
        say(*args, **kwargs)
        time.sleep(0.5)

    monkeypatch.setattr(messages, "success", say_late)


def click_twice(visitor: Visitor, name: str) -> None:
    """As a hand does: at once the browser itself would drop the first of the two."""
    visitor.page.get_by_role("button", name=name, exact=True).dblclick(delay=60)


def test_two_clicks_enter_one_client_with_one_home_and_one_case(
    look, visitors, late_answers
) -> None:
    cast = make_cast()
    visitor = visitors.enter(cast.people["office"], **look)
    page = visitor.page
    visitor.open("/clients/add/")
    page.get_by_label("Name").fill("Rosa Lindqvist")
    click_twice(visitor, "Save")
    expect(page.get_by_role("heading", name="Rosa Lindqvist")).to_be_visible()
    page.wait_for_load_state("networkidle")
    client = Client.objects.get(name="Rosa Lindqvist")
    assert page.url.endswith(f"/clients/{client.pk}/")
    visitor.look_over("a client entered by a double click")
    visitor.open(f"/clients/{client.pk}/properties/add/")
    page.get_by_label("Address").fill("Quay 4")
    click_twice(visitor, "Save")
    expect(page.get_by_role("heading", name="Rosa Lindqvist")).to_be_visible()
    page.wait_for_load_state("networkidle")
    home = client.properties.get()
    visitor.open(f"/properties/{home.pk}/cases/open/")
    page.get_by_label("Reference").fill("EB-TWICE")
    click_twice(visitor, "Save")
    expect(page.get_by_role("heading", name="EB-TWICE")).to_be_visible()
    page.wait_for_load_state("networkidle")
    assert home.cases.get().reference == "EB-TWICE"


def test_a_client_whose_answer_got_lost_is_entered_once(look, visitors) -> None:
    """The server has the client, and the browser does not know; the same form is sent once more."""
    cast = make_cast()
    visitor = visitors.enter(cast.people["office"], **look)
    page = visitor.page
    visitor.open("/clients/add/")
    page.get_by_label("Name").fill("Rosa Lindqvist")

    def lose_the_answer(route) -> None:
        route.fetch(max_redirects=0)
        route.fulfill(status=204)  # the browser stays where it is, with what was typed

    page.route("**/clients/add/", lose_the_answer, times=1)
    visitor.press("Save")
    expect(page.get_by_label("Name")).to_have_value("Rosa Lindqvist")
    first = Client.objects.get(name="Rosa Lindqvist")
    visitor.press("Save")
    expect(page.get_by_role("heading", name="Rosa Lindqvist")).to_be_visible()
    assert page.url.endswith(f"/clients/{first.pk}/")
    assert Client.objects.filter(name="Rosa Lindqvist").count() == 1


def test_two_clicks_seal_once(look, visitors) -> None:
    cast, mine, _theirs = homes()
    visitor = visitors.enter(cast.people["its assessor"], **look)
    page = visitor.page
    ready_to_type(visitor, mine)
    make_ready_to_seal(visitor)
    page.get_by_label("I have looked through the readings").check()
    page.get_by_role("button", name="Seal the visit").dblclick()
    expect(page.get_by_role("main")).to_contain_text("Sealed on")
    mine.refresh_from_db()
    assert mine.history.filter(sealed_at__isnull=False).count() == 1


def make_ready_to_seal(visitor: Visitor) -> None:
    page = visitor.page
    enter_reading(visitor, X="3", Y="4", Z="12")
    expect(rows(visitor)).to_have_count(1)
    page.get_by_text("Enter a ground check").click()
    page.get_by_label("Ground point", exact=True).last.select_option(label="water pipe")
    page.get_by_label("Outlet test").select_option("ok")
    visitor.press("Enter the check")
    expect(page.get_by_role("region", name="Ground checks")).to_be_visible()
    visitor.follow("Change conditions")
    page.get_by_label("Supply voltage").fill("230")
    page.get_by_label("Relative humidity").fill("48")
    visitor.press("Save")
    expect(page.get_by_text("Nothing is missing.", exact=False)).to_be_visible()


def test_back_after_posting_does_nothing_twice(look, visitors) -> None:
    cast = make_cast()
    visitor = visitors.enter(cast.people["office"], **look)
    page = visitor.page
    visitor.open(f"/cases/{cast.case.reference}/")
    visitor.unfold("Write a note")
    page.get_by_label("Write a note").fill("Ring twice.")
    visitor.press("Save the note")
    expect(page.get_by_text("Ring twice.")).to_be_visible()
    page.reload()
    page.go_back()
    page.go_forward()
    assert Note.objects.count() == 1
    client = cast.case.property.client
    visitor.open(f"/clients/{client.pk}/edit/")
    for phone in ("0151 555 0111", "0151 555 0122"):
        page.get_by_label("Phone").fill(phone)
        visitor.press("Save")
        expect(page.get_by_role("status")).to_be_visible()
        page.go_back()  # to the form, which has to know that it was kept
    client.refresh_from_db()
    assert client.phone == "0151 555 0122"


def test_of_two_people_on_one_form_the_second_is_told(look, visitors) -> None:
    ida, otto = UserFactory(name="Ida Brook"), UserFactory(name="Otto Lang")
    case = CaseFactory(reference="EB-BOTH")
    client = ClientFactory(phone="0151 555 0100")
    first, second = visitors.enter(ida, **look), visitors.enter(otto, **look)
    for path, label, one, other in (
        (f"/cases/{case.reference}/edit/", "Due on", "2027-01-05", "2027-02-06"),
        (f"/clients/{client.pk}/edit/", "Phone", "0151 555 0111", "0151 555 0122"),
    ):
        first.open(path)
        second.open(path)
        first.page.get_by_label(label).fill(one)
        first.press("Save")
        expect(first.page.get_by_role("status")).to_be_visible()
        second.page.get_by_label(label).fill(other)
        second.press("Save")
        main = second.page.get_by_role("main")
        expect(main).to_contain_text("Ida Brook changed this meanwhile")
        second.look_over("somebody else was first")
        second.open(path)
        expect(second.page.get_by_label(label)).to_have_value(one)  # nothing was overwritten
        second.page.get_by_label(label).fill(other)
        second.press("Save")
        expect(second.page.get_by_role("status")).to_be_visible()
    client.refresh_from_db()
    assert client.phone == "0151 555 0122"


def test_of_two_people_who_move_one_case_the_second_is_told(look, visitors) -> None:
    case = CaseFactory(reference="EB-BOTH", stage="findings")
    first, second = (visitors.enter(UserFactory(), **look) for _person in range(2))
    for visitor in (first, second):
        visitor.open(f"/cases/{case.reference}/")
    first.press("On to: plan of remedies")
    expect(first.page.get_by_role("status")).to_contain_text("plan of remedies")
    second.press("On to: closed")
    expect(second.page.get_by_role("status")).to_contain_text("Somebody else changed this case")
    second.look_over("somebody else moved the case")
    case.refresh_from_db()
    assert case.stage == "plan"


def test_the_office_works_without_script(look, visitors) -> None:
    cast = make_cast()
    visitor = visitors.enter(has_script=False, **look)
    page = visitor.page
    visitor.log_in(cast.people["office"].email)
    visitor.follow("Cases")
    page.get_by_role("searchbox").fill(cast.case.reference)
    visitor.press("Find")
    visitor.follow(cast.case.reference)
    page.get_by_role("combobox", name="Target").select_option(label="met")
    visitor.press("Show")
    expect(page.get_by_role("region", name="Comparison").get_by_role("row")).to_have_count(2)
    visitor.unfold("Write a note")
    page.get_by_label("Write a note").fill("Ring twice.")
    visitor.press("Save the note")
    expect(page.get_by_text("Ring twice.")).to_be_visible()
    visitor.look_over("a case without script")
    visitor.press("Issue the outcome letter")
    letter = Letter.objects.get()
    visitor.follow(letter.number)
    expect(page.get_by_role("progressbar")).to_be_visible()
    visitor.look_over("a letter being made without script")
    work_off()
    visitor.follow("Look again")
    expect(page.get_by_role("link", name="Open the PDF")).to_be_visible()
    visitor.press("Mark as posted")
    expect(page.get_by_role("status")).to_contain_text("posted")
    visitor.open("/uploads/")
    page.get_by_label("Case folder").set_input_files(zipped())
    visitor.press("Check the files")
    work_off()
    visitor.follow("Look again")
    visitor.press("Import this case")
    expect(page.get_by_role("heading", name="Being imported")).to_be_visible()
    visitor.look_over("an import without script")
    work_off()
    visitor.follow("Look again")
    visitor.follow("Open the case")
    expect(page.get_by_role("heading", name="2026-011")).to_be_visible()


def test_an_assessor_works_without_script(look, visitors) -> None:
    cast, mine, _theirs = homes()
    visitor = visitors.enter(cast.people["its assessor"], has_script=False, **look)
    page = visitor.page
    ready_to_type(visitor, mine)
    enter_reading(visitor, X="three")
    expect(page.get_by_text("A number of 0 or more, such as")).to_be_visible()
    page.get_by_label("X", exact=True).fill("")
    visitor.look_over("a visit without script")
    make_ready_to_seal(visitor)
    page.get_by_label("I have looked through the readings").check()
    visitor.press("Seal the visit")
    expect(page.get_by_role("main")).to_contain_text("Sealed on")
