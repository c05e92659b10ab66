"""The office logs in with a second factor once its days are over; others may."""

import datetime as dt

import pytest
from allauth.mfa.totp.internal.auth import TOTP, generate_totp_secret
from django.urls import reverse
from django.utils import timezone

from consult.models import Practice, User, current_practice
from consult.services.people import save_practice
from consult.services.second_factor import days_without_factor
from tests.factories import UserFactory
from tests.forms import opened

pytestmark = pytest.mark.django_db


def practice_says(days: int | None, *, since: int = 0) -> None:
    """The office has `days` days, counted from `since` days ago."""
    begun = timezone.localdate() - dt.timedelta(days=since)
    Practice.objects.update_or_create(
        pk=1,
        defaults={
            "name": "Field practice",
            "second_factor_days": days,
            "second_factor_since": begun,
        },
    )


def long_there(**fields) -> User:
    user = UserFactory(**fields)
    joined = timezone.now() - dt.timedelta(days=400)
    User.objects.filter(pk=user.pk).update(joined_at=joined)
    user.refresh_from_db()
    return user


def test_after_its_days_the_office_reaches_the_set_up_alone(client) -> None:
    practice_says(14, since=14)
    user = long_there(is_manager=True)
    client.force_login(user)
    for name in ("desk", "person_list", "case_list", "own_account"):
        assert client.get(reverse(name)).url == reverse("mfa_index")
    page = client.get(reverse("mfa_index")).content.decode()
    assert "The office sees everything, so your log-in needs a second factor" in page
    part = client.get(reverse("case_list"), headers={"hx-request": "true"})
    assert (part.status_code, part["HX-Redirect"]) == (204, reverse("mfa_index"))
    assert client.post(reverse("practice"), {"name": "x"}).url == reverse("mfa_index")
    assert current_practice().name == "Field practice"
    assert client.get(reverse("account_reauthenticate")).status_code == 200
    assert client.post(reverse("account_logout")).status_code == 302


def test_with_a_second_factor_everything_is_open(client) -> None:
    practice_says(14, since=14)
    user = long_there()
    TOTP.activate(user, generate_totp_secret())
    client.force_login(user)
    assert client.get(reverse("desk")).status_code == 200


@pytest.mark.parametrize(("days", "since", "left"), [(14, 13, 1), (14, 4, 10), (30, 14, 16)])
def test_until_then_the_desk_says_how_many_days_are_left(client, days, since, left) -> None:
    practice_says(days, since=since)
    user = long_there()
    assert days_without_factor(user=user, today=timezone.localdate()) == left
    client.force_login(user)
    said = f"Your log-in needs a second factor within {left} day{'s' * (left > 1)}."
    assert said in client.get(reverse("desk")).content.decode()


@pytest.mark.parametrize("role", [User.Role.ASSESSOR, User.Role.CLIENT])
def test_nobody_else_needs_one(client, role) -> None:
    practice_says(0, since=99)
    client.force_login(long_there(role=role))
    assert client.get(reverse("own_account")).status_code == 200


def test_a_practice_may_leave_it_open(client) -> None:
    practice_says(None, since=99)
    client.force_login(long_there())
    page = client.get(reverse("desk"))
    assert page.status_code == 200
    assert "second factor" not in page.content.decode()


def test_days_begin_when_the_practice_asks_for_it_or_somebody_joins(client) -> None:
    practice_says(None, since=99)
    user, today = long_there(is_manager=True), timezone.localdate()
    client.force_login(user)
    form = opened(client, reverse("practice")) | {"second_factor_days": "7"}
    assert client.post(reverse("practice"), form).status_code == 302
    assert days_without_factor(user=user, today=today) == 7
    practice_says(7, since=99)
    assert days_without_factor(user=UserFactory(), today=today) == 7
    practice = current_practice()
    practice.second_factor_days = 9
    save_practice(practice=practice)
    assert current_practice().second_factor_since == today - dt.timedelta(days=99)
