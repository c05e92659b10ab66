"""The calendar: weeks and lists by person and firm, and who sees what of it."""

import datetime as dt
import re
from typing import Any

import pytest
from django.urls import reverse
from django.utils import timezone

from mitigation.pages.calendars import MOST_IN_WEEK
from mitigation.services.work_orders import call_off_order
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
WEEK, LIST = reverse("calendar"), reverse("calendar_list")


@pytest.fixture
def office(db) -> Any:
    return UserFactory(role="office")


def text_of(client: Any, page: str, **query: Any) -> str:
    return client.get(page, query).content.decode()


def agreed_order(name: str, at: dt.datetime) -> Any:
    order = sent_order(case_at_works("demand-switch"), firm(name=name))
    proposed(order, at, asked="")
    return order


def day_of(at: dt.datetime) -> str:
    return timezone.localtime(at).date().isoformat()


def test_a_week_has_its_visits_and_appointments_and_the_next_has_others(client, office) -> None:
    at = in_days(8)
    order = agreed_order("North Wiring", at)
    assessor = UserFactory(role="assessor", name="Edda Falk")
    visit = VisitFactory(date=at.date(), sealed_at=None, measured_by=assessor)
    client.force_login(office)
    pages = (reverse("work_order", args=[order.pk]), reverse("visit_detail", args=[visit.pk]))
    for page in (WEEK, LIST):
        shown = text_of(client, page, day=day_of(at))
        assert all(url in shown for url in pages)
        assert "North Wiring" in shown and "Edda Falk" in shown
        later = text_of(client, page, day=(at + dt.timedelta(days=35)).date().isoformat())
        assert not any(url in later for url in pages)


def test_a_week_leads_to_the_weeks_beside_it(client, office) -> None:
    client.force_login(office)
    shown = text_of(client, WEEK, day="2027-03-03", who="firms")
    assert "day=2027-02-22" in shown and "day=2027-03-08" in shown
    assert "who=firms" in re.search(r'href="([^"]+)" rel="next"', shown)[1]


@pytest.mark.parametrize("day", ["", "nonsense", "2027-02-31", "9999-12-31", "0001-01-01"])
def test_a_day_that_is_none_is_today(client, office, day) -> None:
    client.force_login(office)
    monday = timezone.localdate() - dt.timedelta(days=timezone.localdate().weekday())
    for page in (WEEK, LIST):
        answer = client.get(page, {"day": day, "who": "person-x", "page": "99999"})
        assert answer.status_code == 200 and answer.context["first"] == monday


def test_whose_calendar_is_asked_for(client, office) -> None:
    at = in_days(8)
    north, south = agreed_order("North Wiring", at), agreed_order("South Wiring", at)
    edda, falk = (UserFactory(role="assessor", name=name) for name in ("Edda", "Falk"))
    visits = [VisitFactory(date=at.date(), sealed_at=None, measured_by=who) for who in (edda, falk)]
    urls = {
        **{order.firm.name: reverse("work_order", args=[order.pk]) for order in (north, south)},
        **{visit.measured_by.name: reverse("visit_detail", args=[visit.pk]) for visit in visits},
    }
    client.force_login(office)
    for who, names in (
        ("", set(urls)),
        (f"firm-{north.firm_id}", {"North Wiring"}),
        (f"person-{edda.pk}", {"Edda"}),
        ("people", {"Edda", "Falk"}),
        ("firms", {"North Wiring", "South Wiring"}),
    ):
        for page in (WEEK, LIST):
            shown = text_of(client, page, day=day_of(at), who=who)
            assert {name for name, url in urls.items() if f'"{url}"' in shown} == names


def test_an_assessor_sees_the_homes_that_are_theirs(client) -> None:
    at = in_days(8)
    order, other = agreed_order("North Wiring", at), agreed_order("South Wiring", at)
    assessor = UserFactory(role="assessor")
    assign(assessor, order.case.property)
    visit = VisitFactory(date=at.date(), sealed_at=None, property=other.case.property)
    client.force_login(assessor)
    for page in (WEEK, LIST):
        shown = text_of(client, page, day=day_of(at))
        assert reverse("work_order", args=[order.pk]) in shown
        assert reverse("work_order", args=[other.pk]) not in shown
        assert reverse("visit_detail", args=[visit.pk]) not in shown


def test_an_electrician_sees_their_own_firm_alone_and_no_name_of_a_client(client) -> None:
    at = in_days(8)
    order, other = agreed_order("North Wiring", at), agreed_order("South Wiring", at)
    home = order.case.property
    home.client.name = "Rosa Lind"
    home.client.save()
    VisitFactory(date=at.date(), sealed_at=None, property=home, label="first look")
    client.force_login(electrician(order.firm))
    for page in (WEEK, LIST, reverse("calendar_list_export")):
        answer = client.get(page, {"day": day_of(at), "who": f"firm-{other.firm_id}"})
        assert b"South Wiring" not in answer.content
    shown = text_of(client, LIST, day=day_of(at))
    assert reverse("work_order", args=[order.pk]) in shown and str(home) in shown
    assert "Rosa Lind" not in shown and "Visit (" not in shown and "South Wiring" not in shown


def test_what_was_called_off_is_in_no_calendar(client, office) -> None:
    at = in_days(8)
    order = agreed_order("North Wiring", at)
    call_off_order(order=order, by=office, now=timezone.now(), reason="They move out.")
    client.force_login(office)
    url = reverse("work_order", args=[order.pk])
    assert url not in text_of(client, WEEK, day=day_of(at))


def test_a_crowded_week_says_that_it_is_not_all(client, office) -> None:
    at = in_days(8)
    for _n in range(MOST_IN_WEEK + 1):
        VisitFactory(date=at.date(), sealed_at=None)
    client.force_login(office)
    shown = text_of(client, WEEK, day=day_of(at))
    assert f"Only the first {MOST_IN_WEEK} entries" in shown
    assert shown.count("Visit (baseline)") == MOST_IN_WEEK
    assert "page=2" in text_of(client, LIST, day=day_of(at))
