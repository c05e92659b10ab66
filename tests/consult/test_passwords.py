"""Which passwords are refused, where they are chosen, and how cookies are named over HTTPS."""

import pytest
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.urls import reverse

from consult.models import Practice
from tests.factories import PASSWORD, UserFactory
from tests.project.test_settings import SAFE, run

pytestmark = pytest.mark.django_db


@pytest.fixture
def user():
    Practice.objects.update_or_create(pk=1, defaults={"name": "Fieldwater Survey Practice"})
    return UserFactory(name="Marit Holmgren", email="office.desk@example.org")


@pytest.mark.parametrize(
    "password",
    [
        "P@ssw0rd2026",
        "2026-p4ssw0rd!!",
        "!!W3lcome!!2026",
        "passwordpassword",
        "Summer2026Summer2026",
        "qwertyuiop-1234",
        "Ebbmark-2026-11",
        "Fieldwater#2026!",
        "f1eldwater-Survey",
        "Holmgren.1987.12",
        "officedesk-2026",
        "123456789012",
        "short-lamps",
    ],
)
def test_what_is_guessed_first_is_refused(user, password) -> None:
    with pytest.raises(ValidationError):
        validate_password(password, user)


@pytest.mark.parametrize(
    "password", [PASSWORD, "nine-quiet-lamps", "three kettles on a ferry", "x" * 11 + "Zq7,kw!"]
)
def test_several_words_that_have_nothing_to_do_with_each_other_are_taken(user, password) -> None:
    validate_password(password, user)


def test_the_page_for_a_new_password_refuses_it(client, user) -> None:
    client.force_login(user)
    fields = {"oldpassword": PASSWORD, "password1": "P@ssw0rd2026", "password2": "P@ssw0rd2026"}
    page = client.post(reverse("account_change_password"), fields)
    assert page.status_code == 200
    assert "easily guessed" in page.content.decode()
    user.refresh_from_db()
    assert user.check_password(PASSWORD)


@pytest.mark.parametrize(
    ("environment", "names"),
    [
        (SAFE, "__Host-sessionid __Host-csrftoken __Host-ebbmark_device"),
        ({}, "sessionid csrftoken ebbmark_device"),
    ],
)
def test_cookies_over_https_are_bound_to_the_host(tmp_path, environment, names) -> None:
    code = (
        "import consult.settings as s;"
        "print(s.SESSION_COOKIE_NAME, s.CSRF_COOKIE_NAME, s.DEVICE_COOKIE_NAME)"
    )
    shown = run(tmp_path, environment, "-c", code)
    assert shown.stdout.strip() == names, shown.stderr
