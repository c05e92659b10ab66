"""The door in a browser: password, passkey, second factor, and out again."""

import pytest
from playwright.sync_api import expect

from consult.models import AccessEvent
from tests.factories import PASSWORD, UserFactory

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def with_authenticator(visitor) -> None:
    """A built-in authenticator that knows its owner by a finger."""
    devtools = visitor.context.new_cdp_session(visitor.page)
    devtools.send("WebAuthn.enable")
    devtools.send(
        "WebAuthn.addVirtualAuthenticator",
        {
            "options": {
                "protocol": "ctap2",
                "transport": "internal",
                "hasResidentKey": True,
                "hasUserVerification": True,
                "isUserVerified": True,
                "automaticPresenceSimulation": True,
            }
        },
    )


def log_in(visitor, user, password: str = PASSWORD) -> None:
    visitor.open("/accounts/login/")
    visitor.page.get_by_label("E-mail").fill(user.email)
    visitor.page.get_by_label("Password").fill(password)
    visitor.page.get_by_role("button", name="Log in", exact=True).click()


@pytest.mark.parametrize("width", [1280, 360])
def test_in_by_password_and_out(width, visitors) -> None:
    user = UserFactory()
    visitor = visitors.enter(width=width)
    log_in(visitor, user, "wrong")
    expect(visitor.page.locator(".errorlist")).to_be_visible()
    log_in(visitor, user)
    expect(visitor.page.get_by_role("link", name=user.name)).to_be_visible()
    visitor.page.get_by_role("button", name="Log out").click()
    expect(visitor.page.get_by_label("Password")).to_be_visible()
    visitor.open("/me/")
    expect(visitor.page.get_by_label("Password")).to_be_visible()


def test_a_passkey_is_added_and_lets_in_without_a_password(visitors) -> None:
    user = UserFactory()
    visitor = visitors.enter()
    with_authenticator(visitor)
    page = visitor.page
    log_in(visitor, user)
    expect(page.get_by_role("link", name=user.name)).to_be_visible()
    visitor.open("/accounts/2fa/webauthn/add/")
    page.get_by_label("Password").fill(PASSWORD)  # asked again before a log-in is changed
    page.get_by_role("button", name="Confirm").click()
    page.get_by_label("Log in with it alone").check()
    page.locator("#mfa_webauthn_add").click()
    page.wait_for_url("**/accounts/2fa/**")
    expect(page.get_by_text("Recovery", exact=False).first).to_be_visible()
    assert user.authenticator_set.filter(type="webauthn").count() == 1
    page.get_by_role("button", name="Log out").click()
    visitor.open("/accounts/login/")
    page.get_by_role("button", name="Log in with a passkey").click()
    expect(page.get_by_role("link", name=user.name)).to_be_visible()
    assert AccessEvent.objects.filter(kind="logged-in").count() == 2


def test_an_invitation_is_accepted_in_the_browser(visitors) -> None:
    manager = UserFactory(is_manager=True)
    office = visitors.enter(manager)
    office.open("/people/invite/")
    office.page.get_by_label("Name").fill("Nils Brandt")
    office.page.get_by_label("E-mail").fill("nils@example.org")
    office.page.get_by_label("Role").select_option("assessor")
    office.page.get_by_role("button", name="Send the invitation").click()
    expect(office.page.get_by_role("link", name="Nils Brandt")).to_be_visible()
