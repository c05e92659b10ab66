"""A day of whoever runs the practice: people, firms, letterhead, registers, the own log-in."""

import re
from datetime import timedelta
from types import SimpleNamespace

import pytest
from allauth.mfa.totp.internal import auth as totp
from django.utils import timezone
from playwright.sync_api import expect

from consult.models import OutboundMail, User
from tests.browser.visitor import Visitor, Visitors
from tests.factories import PASSWORD, FirmFactory, UserFactory, assign, compared_case

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

NEW_PASSWORD = "three-brown-kettles"


def test_somebody_is_invited_works_and_is_kept_out(look, visitors) -> None:
    FirmFactory(name="Wiring Sievers")
    manager = visitors.enter(UserFactory(is_manager=True), **look)
    page = manager.page
    manager.open("/")
    manager.follow("Practice")
    manager.look_over("people of the practice")
    manager.follow("Invite somebody")
    page.get_by_label("Name", exact=True).fill("Nils Brandt")
    page.get_by_label("E-mail", exact=True).fill("nils@example.org")
    page.get_by_label("Role").select_option("electrician")
    manager.press("Send the invitation")
    expect(page.get_by_text("An electrician belongs to a firm.")).to_be_visible()
    manager.look_over("an invitation with a fault")
    page.get_by_label("Role").select_option("assessor")
    manager.press("Send the invitation")
    expect(page.get_by_role("status")).to_contain_text("Nils Brandt is invited.")
    nils = accept(visitors, look)
    case = compared_case()
    assign(User.objects.get(email="nils@example.org"), case.property)
    nils.open(f"/cases/{case.reference}/")
    expect(nils.page.get_by_role("heading", name=case.reference)).to_be_visible()
    manager.follow("Nils Brandt")
    manager.look_over("a person")
    manager.press("Deactivate")
    expect(page.get_by_text("Kept out: this person cannot log in.")).to_be_visible()
    manager.look_over("a person who is kept out")
    nils.page.reload()  # a living session ends with the next step
    expect(nils.page.get_by_label("Password")).to_be_visible()
    nils.log_in("nils@example.org", NEW_PASSWORD)
    expect(nils.page.get_by_role("heading", name="This log-in is closed")).to_be_visible()
    nils.look_over("kept out")
    manager.follow("Access log")
    log = page.get_by_role("region", name="Access log")
    for words in ("invited", "logged in", "deactivated", "log-in refused: Nils Brandt"):
        expect(
            log.get_by_role("row").filter(has_text=re.compile(words, re.I)).first
        ).to_be_visible()
    manager.look_over("the access log")


def accept(visitors: Visitors, look) -> Visitor:
    """Open the link of the mail, choose a password, log in with it; the link is spent then."""
    body = OutboundMail.objects.get(to="nils@example.org").body
    link = next(word for word in body.split() if word.startswith("http"))
    nils = visitors.enter(**look)
    page = nils.page
    page.goto(link)
    nils.look_over("an invitation")
    page.get_by_label("Password", exact=True).fill(NEW_PASSWORD)
    page.get_by_label("Password, once more").fill("three-brown-kettels")
    nils.press("Set the password")
    expect(page.get_by_text("The two are not the same.")).to_be_visible()
    page.get_by_label("Password", exact=True).fill(NEW_PASSWORD)
    page.get_by_label("Password, once more").fill(NEW_PASSWORD)
    nils.press("Set the password")
    nils.log_in("nils@example.org", NEW_PASSWORD)
    expect(page.get_by_role("link", name="Nils Brandt")).to_be_visible()
    other = visitors.enter(**look)
    other.page.goto(link)
    expect(other.page.get_by_role("heading", name="This invitation is spent")).to_be_visible()
    other.look_over("a spent invitation")
    return nils


def test_the_practice_describes_itself(look, visitors) -> None:
    visitor = visitors.enter(UserFactory(is_manager=True), **look)
    visitor.open("/people/")
    enter_a_firm(visitor)
    write_the_letterhead(visitor)
    enter_an_instrument(visitor)
    enter_a_guideline(visitor)


def enter_a_firm(visitor: Visitor) -> None:
    page = visitor.page
    visitor.follow("Firms")
    visitor.look_over("no firms yet")
    visitor.follow("Enter a firm")
    page.get_by_label("Name", exact=True).fill("Wiring Sievers")
    page.get_by_label("Licence", exact=True).fill("E-4471")
    visitor.press("Save the firm")
    expect(page.get_by_role("region", name="Firms")).to_contain_text("E-4471")
    visitor.look_over("firms")


def write_the_letterhead(visitor: Visitor) -> None:
    page = visitor.page
    visitor.follow("Letterhead")
    page.get_by_label("Name", exact=True).fill("Quiet Rooms")
    page.get_by_label("Postal address").fill("Dyke Road 2\n24999 Nordach")
    page.get_by_label("Country").fill("d1")
    visitor.press("Save the changes")
    expect(page.get_by_text("A country is two capital letters").first).to_be_visible()
    page.get_by_label("Country").fill("de")
    page.get_by_label("Signatory", exact=True).fill("Maren Holt")
    visitor.press("Save the changes")
    expect(page.get_by_role("banner")).to_contain_text("Quiet Rooms")
    visitor.look_over("the letterhead")


def enter_an_instrument(visitor: Visitor) -> None:
    page = visitor.page
    visitor.follow("Registers")
    visitor.look_over("no instruments yet")
    visitor.follow("Add an instrument")
    page.get_by_label("Instrument").fill("field meter G")
    visitor.press("Save")
    visitor.follow("Add a certificate")
    visitor.look_over("a new certificate")
    today = timezone.localdate()
    for label, words in (
        ("Gain [%]", "6.5"),
        ("Resolution", "0.1"),
        ("Certificate", "K-2000"),
        ("Calibrated on", (today - timedelta(days=345)).isoformat()),
        ("Due on", (today + timedelta(days=20)).isoformat()),
    ):
        page.get_by_label(label, exact=True).fill(words)
    page.get_by_label("Quantity").select_option("electric field")
    page.get_by_label("Unit").select_option("V/m")
    visitor.press("Save")
    expect(page.get_by_role("region", name="Certificates")).to_contain_text("K-2000")
    visitor.follow("Registers")
    due = page.get_by_role("region", name="What falls due")
    expect(due).to_contain_text("20 days left")
    visitor.look_over("what falls due")


def enter_a_guideline(visitor: Visitor) -> None:
    page = visitor.page
    visitor.follow("Guidelines")
    expect(page.get_by_role("button", name="Take SBM-2015 away")).to_have_count(0)
    visitor.look_over("guidelines")
    visitor.follow("Add a guideline")
    page.get_by_label("Short name").fill("HOUSE-1")
    page.get_by_label("Title").fill("Values of the house")
    page.get_by_label("Source").fill("Quiet Rooms, meeting of 2026-11-02")
    for number, words in enumerate(("none", "slight", "strong", "extreme"), 1):
        page.get_by_label(f"Words of band {number}").fill(words)
    for group in page.get_by_role("group").all():
        for bound, value in (("b1", "9"), ("b2", "5"), ("b3", "50")):
            group.get_by_label(bound).fill(value)
    visitor.press("Save")
    expect(page.locator(".errorlist").first).to_be_visible()  # 9 is not under 5
    visitor.look_over("a guideline with a fault")
    for group in page.get_by_role("group").all():
        group.get_by_label("b1").fill("1")
    visitor.press("Save")
    expect(page.get_by_role("heading", name="HOUSE-1")).to_be_visible()
    expect(page.get_by_role("region", name="HOUSE-1")).to_contain_text("slight")
    visitor.look_over("a guideline of the own house")
    visitor.press("Take HOUSE-1 away")
    expect(page.get_by_role("heading", name="HOUSE-1")).to_have_count(0)


def code_of(secret: str) -> str:
    """What an authenticator app shows now."""
    (counter,) = totp.yield_hotp_counters_from_time()
    return totp.format_hotp_value(totp.hotp_value(secret, counter))


def test_a_second_factor_is_set_up_and_asked_for(look, visitors, monkeypatch) -> None:
    user = UserFactory(is_manager=True)
    clock = [1_800_000_000.0]  # a code counts once, so the app's clock is moved on by hand
    monkeypatch.setattr(totp, "time", SimpleNamespace(time=lambda: clock[0]))
    visitor = visitors.enter(**look)
    page = visitor.page
    visitor.log_in(user.email)
    page.get_by_role("link", name=user.name).click()
    visitor.look_over("an own account")
    visitor.follow("Second factor and passkeys")
    visitor.look_over("no second factor yet")
    page.get_by_role("link", name="Activate").click()
    page.get_by_label("Password").fill(PASSWORD)
    visitor.press("Confirm")
    visitor.look_over("setting up a second factor")
    secret = page.get_by_label("Or type this secret into the app").input_value()
    page.get_by_label("Code of the app").fill(code_of(secret))
    visitor.press("Activate")
    codes = re.findall(r"\b[0-9a-f]{8}\b", page.get_by_role("textbox").input_value())
    assert len(codes) > 5
    visitor.look_over("recovery codes")
    visitor.press("Log out")
    clock[0] += 31
    log_in_twice(visitor, user, secret, codes[0], clock)


def log_in_twice(
    visitor: Visitor, user: User, secret: str, recovery: str, clock: list[float]
) -> None:
    """By the app, and by a recovery code, which is then spent."""
    page = visitor.page
    for code, is_right in ((code_of(secret), True), (recovery, True), (recovery, False)):
        visitor.log_in(user.email)
        expect(page.get_by_label("Code")).to_be_visible()
        expect(page.get_by_role("link", name=user.name)).to_have_count(0)
        visitor.look_over("a second factor asked for")
        page.get_by_label("Code").fill(code)
        page.get_by_role("button", name="Log in").click()
        if is_right:
            expect(page.get_by_role("link", name=user.name)).to_be_visible()
            visitor.press("Log out")
        else:
            expect(page.get_by_role("link", name=user.name)).to_have_count(0)
            expect(page.locator(".errorlist")).to_be_visible()
        clock[0] += 31
