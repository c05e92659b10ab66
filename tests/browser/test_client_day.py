"""Days of a client, in English and in German, and of an electrician."""

from datetime import timedelta

import pytest
from django.utils import timezone, translation
from django.utils.translation import gettext
from playwright.sync_api import Page, expect

from consult.models import Client, User
from consult.services.sending import email_letter, letter_token
from mitigation.services.visits import plan_case_visit
from tests.browser.visitor import Visitor
from tests.cast import Cast, make_cast
from tests.factories import compared_case, ready_letter

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

LANGUAGES = ["en", "de"]
WORDS = {
    "case": "Your case",
    "stands": "Your outcome letter is ready: you find it below.",
    "letters": "Letters",
    "pdf": "Open the PDF",
    "prepare": "How to prepare for a visit",
    "glossary": "What the words mean",
    "reach": "How we reach you",
    "phone": "Phone",
    "keep": "Save the changes",
    "nothing": "Not found",
    "no": "Not allowed",
    "orders": "Work orders",
    "out": "Log out",
}


def words_in(language: str) -> dict[str, str]:
    """What the pages say in `language`; a word without a translation fails here."""
    with translation.override(language):
        words = {name: gettext(word) for name, word in WORDS.items()}
    assert language == "en" or not set(words.values()) & set(WORDS.values())
    return words


def expect_pdf(page: Page, site: str, link: str) -> None:
    """The browser's own viewer keeps the bytes, so they are fetched beside the page."""
    address = page.get_by_role("main").get_by_role("link", name=link).first.get_attribute("href")
    answer = page.request.get(f"{site}{address}")
    assert answer.headers["content-type"] == "application/pdf"
    assert answer.body().startswith(b"%PDF-")


def cast_in(language: str) -> Cast:
    cast = make_cast()
    User.objects.filter(pk=cast.people["its client"].pk).update(language=language)
    Client.objects.filter(pk=cast.case.property.client_id).update(language=language)
    cast.people["its client"].refresh_from_db()
    cast.case.refresh_from_db()
    return cast


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_client_follows_the_own_case(language, look, visitors) -> None:
    cast, words = cast_in(language), words_in(language)
    letter, other = ready_letter(cast.case), compared_case()
    theirs = ready_letter(other)
    plan_case_visit(
        case=cast.case, kind="follow-up", day=timezone.localdate() + timedelta(days=9),
        assessor=cast.people["its assessor"], by=cast.people["office"], now=timezone.now(),
    )  # fmt: skip
    visitor = visitors.enter(cast.people["its client"], **look)
    page = visitor.page
    visitor.open("/")
    expect(page.locator("html")).to_have_attribute("lang", language)
    expect(page.get_by_text(words["stands"])).to_be_visible()
    expect(page.get_by_role("main")).not_to_contain_text(other.reference)
    visitor.look_over(f"a client's first page ({language})")
    visitor.follow(letter.number)
    expect_pdf(page, visitor.site, words["pdf"])
    visitor.look_over(f"a client's letter ({language})")
    visitor.follow(words["letters"])
    expect(page.get_by_role("link", name=letter.number)).to_be_visible()
    expect(page.get_by_role("main")).not_to_contain_text(theirs.number)
    for name in ("prepare", "glossary", "reach"):
        visitor.follow(words["case"])
        page.get_by_role("complementary").get_by_role("link", name=words[name]).click()
        expect(page.get_by_role("heading", level=1)).to_have_text(words[name])
        visitor.look_over(f"{name} ({language})")
    correct_the_phone(visitor, words)
    nothing_of_others(visitor, words, theirs.number, other.reference)


def correct_the_phone(visitor: Visitor, words: dict[str, str]) -> None:
    page = visitor.page
    page.get_by_label(words["phone"]).fill("0151 555 0177")
    visitor.press(words["keep"])
    expect(page.get_by_role("status")).to_be_visible()
    expect(page.get_by_label(words["phone"])).to_have_value("0151 555 0177")


def nothing_of_others(visitor: Visitor, words: dict[str, str], letter: str, case: str) -> None:
    page = visitor.page
    for path, answer in (
        (f"/letters/{letter}/", "nothing"),
        (f"/letters/{letter}/pdf/", "nothing"),
        (f"/cases/{case}/", "no"),
        ("/clients/", "no"),
        ("/people/", "no"),
    ):
        visitor.open(path)
        expect(page.get_by_role("heading", level=1)).to_have_text(words[answer])
    visitor.look_over("a page that is not a client's")


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_link_in_a_mail_opens_one_letter_without_a_log_in(language, look, visitors) -> None:
    cast, words = cast_in(language), words_in(language)
    letter = ready_letter(cast.case)
    Client.objects.filter(pk=letter.client_id).update(email="ida@example.org")
    letter.refresh_from_db()
    stranger = visitors.enter(**look)
    mail = email_letter(
        letter=letter, by=cast.people["office"], site=stranger.site, now=timezone.now()
    )
    page = stranger.page
    page.goto(next(word for word in mail.body.split() if word.startswith("http")))
    expect(page.get_by_role("heading", level=1)).to_contain_text(letter.number)
    expect(page.get_by_role("banner").get_by_role("link")).to_have_count(0)
    expect_pdf(page, stranger.site, words["pdf"])
    stranger.look_over(f"a letter without a log-in ({language})")
    token = letter_token(letter, mail.key)
    stranger.open(f"/letters/link/{token[:-1]}{'A' if token[-1] != 'A' else 'B'}/")
    expect(page.get_by_role("heading", level=1)).to_have_text("This link shows nothing any more")
    stranger.look_over("a link that shows nothing")
    stranger.open("/letters/")
    expect(page.get_by_label("Password")).to_be_visible()


def test_an_electrician_lands_changes_the_language_and_leaves(look, visitors) -> None:
    cast = make_cast()
    letter = ready_letter(cast.case)
    visitor = visitors.enter(**look)
    page = visitor.page
    visitor.log_in(cast.people["its electrician"].email)
    expect(page.get_by_role("heading", name="Work orders")).to_be_visible()
    expect(page.get_by_text("You have nothing to do here.", exact=False)).to_be_visible()
    visitor.look_over("an electrician's first page")
    for path in ("/desk/", "/cases/", "/letters/", f"/letters/{letter.number}/", "/your-case/"):
        visitor.open(path)
        expect(page.get_by_role("heading", level=1)).to_have_text("Not allowed")
    visitor.look_over("a page that is not an electrician's")
    visitor.follow("To the first page")
    page.get_by_role("link", name=cast.people["its electrician"].name).click()
    page.get_by_label("Language").select_option("de")
    visitor.press("Use this language")
    expect(page.locator("html")).to_have_attribute("lang", "de")
    visitor.look_over("an own account in German")
    german = words_in("de")
    visitor.follow(german["orders"])
    expect(page.get_by_role("heading", level=1)).to_have_text(german["orders"])
    visitor.press(german["out"])
    visitor.open("/work-orders/")
    expect(page.locator("input[type=password]")).to_be_visible()
