"""A letter watched while it is made, and the days of client and electrician."""

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from consult.models import Client, Job, OutboundMail
from consult.tasks import run_job
from tests.cast import make_cast
from tests.factories import issue_outcome_letter, ready_letter

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.mark.parametrize("width", [1280, 360])
def test_the_office_watches_a_letter_become_ready_and_sends_it(width, visitors) -> None:
    cast = make_cast()
    office = cast.people["office"]
    Client.objects.filter(pk=cast.case.property.client_id).update(email="ida@example.org")
    letter = issue_outcome_letter(case=cast.case, by=office, now=timezone.now())
    visitor = visitors.enter(office, width=width)
    visitor.open(f"/letters/{letter.number}/")
    page = visitor.page
    expect(page.locator("progress")).to_be_visible()
    page.evaluate("document.body.dataset.seen = 'yes'")
    run_job(Job.objects.get(key__endswith=letter.number).pk)
    expect(page.get_by_role("link", name="Open the PDF")).to_be_visible()
    expect(page.locator("body")).to_have_attribute("data-seen", "yes")  # nothing was loaded anew
    page.get_by_role("button", name="E-mail the client a link").click()
    expect(page.get_by_text("ida@example.org").first).to_be_visible()
    page.get_by_role("button", name="Mark as posted").click()
    expect(page.get_by_role("button", name="Mark as posted")).to_have_count(0)
    link = next(w for w in OutboundMail.objects.get().body.split() if w.startswith("http"))
    stranger = visitors.enter(width=width)
    stranger.page.goto(link)
    expect(stranger.page.get_by_role("link", name="Open the PDF")).to_be_visible()


def test_a_letter_is_corrected_by_a_new_one(visitors) -> None:
    cast = make_cast()
    letter = ready_letter(cast.case)
    visitor = visitors.enter(cast.people["office"])
    visitor.open(f"/letters/{letter.number}/")
    page = visitor.page
    page.get_by_role("link", name="Correct it by a new letter").click()
    page.get_by_label("What was wrong").fill("The bed was named wrongly.")
    page.get_by_role("button", name="Issue the new letter").click()
    expect(page.get_by_role("link", name=letter.number)).to_be_visible()


@pytest.mark.parametrize("width", [1280, 360])
def test_a_client_reads_where_the_case_stands_and_corrects_the_phone(width, visitors) -> None:
    cast = make_cast()
    letter = ready_letter(cast.case)
    visitor = visitors.enter(cast.people["its client"], width=width, scheme="dark")
    visitor.open("/")
    page = visitor.page
    expect(page.get_by_text("Your outcome letter is ready")).to_be_visible()
    page.get_by_role("link", name=letter.number).click()
    expect(page.get_by_role("link", name="Open the PDF")).to_be_visible()
    visitor.open("/me/contact/")
    page.get_by_label("Phone").fill("0123 456")
    page.get_by_role("button", name="Save the changes").click()
    expect(page.get_by_label("Phone")).to_have_value("0123 456")
    visitor.open("/me/")
    page.get_by_label("Language").select_option("de")
    page.locator("main form button").first.click()
    expect(page.locator("html")).to_have_attribute("lang", "de")


def test_an_electrician_finds_a_finished_page(visitors) -> None:
    cast = make_cast()
    visitor = visitors.enter(cast.people["its electrician"], width=360)
    visitor.open("/")
    expect(visitor.page.get_by_role("heading", name="Work orders")).to_be_visible()
    expect(visitor.page.get_by_text("You have nothing to do here.")).to_be_visible()
