"""Calendar feeds: an address of one's own, withdrawn at once, with what its person may see."""

import datetime as dt
from typing import Any
from urllib.parse import urlsplit

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from icalendar import Calendar

from consult.models import AccessEvent, Client, User
from mitigation.models import CalendarFeed
from mitigation.services.calendar_feeds import feed_address, make_feed, withdraw_feed
from tests.factories import UserFactory, VisitFactory, assign
from tests.mitigation.ordered_works import (
    case_at_works,
    electrician,
    firm,
    in_days,
    proposed,
    sent_order,
)

pytestmark = pytest.mark.django_db


def feed_of(user: User) -> str:
    """The path of a person's feed."""
    return urlsplit(feed_address(make_feed(user=user, now=timezone.now()))).path


def events(client: Any, path: str) -> list[Any]:
    answer = client.get(path)
    assert answer.status_code == 200 and answer["Content-Type"] == "text/calendar"
    return list(Calendar.from_ical(answer.content).walk("VEVENT"))


@pytest.fixture
def order(db) -> Any:
    """An agreed appointment in a home with a visit planned."""
    order = sent_order(case_at_works("demand-switch"), firm(name="North Wiring"))
    proposed(order, in_days(7), asked="")
    VisitFactory(property=order.case.property, date=in_days(20).date(), sealed_at=None)
    return order


def test_a_feed_is_made_and_withdrawn_on_ones_own_page(client) -> None:
    person = UserFactory()
    client.force_login(person)
    page = reverse("own_calendar")
    assert "/calendar/feed/" not in client.get(page).content.decode()
    for _click in range(2):
        client.post(reverse("own_calendar_act", args=["make"]))
    address = feed_address(CalendarFeed.objects.get())
    assert address in client.get(page).content.decode()
    client.logout()
    path = urlsplit(address).path
    assert client.get(path).status_code == 200
    client.force_login(person)
    client.post(reverse("own_calendar_act", args=["withdraw"]))
    client.logout()
    assert client.get(path).status_code == 410
    assert feed_of(person) != path and client.get(path).status_code == 410


def test_a_feed_of_somebody_inactive_shows_nothing(client) -> None:
    person = UserFactory()
    path = feed_of(person)
    User.objects.filter(pk=person.pk).update(is_active=False)
    answer = client.get(path)
    assert (answer.status_code, answer.content) == (410, b"")


@pytest.mark.parametrize("token", ["x", "a:b:c", "IiI:1:2"])
def test_an_address_of_nobody_shows_nothing(client, token) -> None:
    assert client.get(reverse("calendar_feed", args=[token])).status_code == 410


def test_no_cache_keeps_a_feed_and_no_log_its_address(client, order) -> None:
    answer = client.get(feed_of(UserFactory()))
    assert "private" in answer["Cache-Control"]
    assert not AccessEvent.objects.exists()


def test_each_sees_what_they_may(client, order) -> None:
    home = order.case.property
    login = UserFactory(role="client")
    Client.objects.filter(pk=home.client_id).update(user=login, name="Rosa Lind")
    its, other = UserFactory(role="assessor"), UserFactory(role="assessor")
    assign(its, home)
    for person, summaries in (
        (UserFactory(role="office"), {"Work order 1", "Visit (baseline), Rosa Lind"}),
        (its, {"Work order 1", "Visit (baseline), Rosa Lind"}),
        (other, set()),
        (electrician(order.firm), {"Work order 1"}),
        (electrician(firm(name="South")), set()),
        (login, {"Electrician: North Wiring", "Visit (baseline)"}),
        (UserFactory(role="client"), set()),
    ):
        names = [str(event["SUMMARY"]) for event in events(client, feed_of(person))]
        shown = {name.split(" of case")[0] for name in names}
        assert shown == summaries, person.role


def test_an_entry_of_a_feed_is_the_one_that_was_mailed(client, order) -> None:
    [event] = events(client, feed_of(electrician(order.firm)))
    assert str(event["UID"]) == f"order-{order.uid}@ebbmark" and int(event["SEQUENCE"]) == 0
    assert event.decoded("DTSTART") == in_days(7)
    proposed(order, in_days(9), asked="")
    [event] = events(client, feed_of(electrician(order.firm)))
    assert int(event["SEQUENCE"]) == 1 and event.decoded("DTSTART") == in_days(9)


def test_a_visit_that_is_moved_is_the_same_entry_with_a_higher_number(client) -> None:
    person = UserFactory(role="office")
    visit = VisitFactory(date=in_days(3).date(), sealed_at=None)
    [before] = events(client, feed_of(person))
    visit.date = in_days(4).date()
    visit.save()
    [after] = events(client, feed_of(person))
    assert before["UID"] == after["UID"] and after["SEQUENCE"] > before["SEQUENCE"]
    assert after.decoded("DTSTART") == in_days(4).date()
    assert after.decoded("DTEND") - after.decoded("DTSTART") == dt.timedelta(days=1)


def test_a_feed_costs_the_same_for_few_and_for_many(client, order) -> None:
    path = feed_of(UserFactory(role="office"))
    client.get(path)
    with CaptureQueriesContext(connection) as few:
        client.get(path)
    for _n in range(5):
        VisitFactory(date=in_days(3).date(), sealed_at=None)
    with CaptureQueriesContext(connection) as many:
        client.get(path)
    assert len(few) == len(many)


def test_who_withdraws_withdraws_their_own_alone(client) -> None:
    person, other = UserFactory(), UserFactory()
    path = feed_of(other)
    feed_of(person)
    withdraw_feed(user=person)
    assert client.get(path).status_code == 200
