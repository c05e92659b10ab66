"""An appointment from the first proposal to the calendar: office, firm by its link, client."""

import re
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from consult.models import Client, OutboundMail, Practice, User
from mitigation.models import Appointment
from tests.browser.visitor import Visitor
from tests.factories import UserFactory, VisitFactory
from tests.mitigation.ordered_works import (
    case_at_works,
    electrician,
    firm,
    in_days,
    proposed,
    sent_order,
)

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def order_of_today() -> Any:
    Practice.objects.update_or_create(pk=1, defaults={"name": "Ebb", "email": "a@ebb.example"})
    order = sent_order(case_at_works("demand-switch"), firm(name="Kai-Elektro Nordhaven GmbH"))
    login = UserFactory(role=User.Role.CLIENT, name="Rosa Lind")
    Client.objects.filter(pk=order.case.property.client_id).update(
        name="Rosa Lind", email="rosa@example.org", user=login
    )
    return order


def type_moments(visitor: Visitor, *moments: Any) -> None:
    for label, moment in zip(("Day and time", "or", "or else"), moments, strict=False):
        words = timezone.localtime(moment).strftime("%Y-%m-%dT%H:%M")
        visitor.page.get_by_label(label, exact=True).fill(words)


def test_an_appointment_from_proposal_to_calendar(look, visitors) -> None:
    order = order_of_today()
    office = visitors.enter(UserFactory(role="office", name="Ines Lund"), **look)
    office.open(f"/work-orders/{order.pk}/")
    office.follow("Propose times")
    type_moments(office, in_days(3), in_days(4, 14))
    office.look_over("propose an appointment")
    office.press("Save")
    expect(office.page.get_by_text("The firm is to answer")).to_be_visible()
    office.look_over("an order with a proposal")

    mail = OutboundMail.objects.get(key__startswith="proposal:")
    link = re.search(r"https?://[^/]+(/\S+)", mail.body)
    assert link is not None
    nobody = visitors.enter(**look)
    nobody.open(link[1])
    nobody.page.get_by_role("radio").nth(1).check()
    nobody.page.get_by_label("Your name").fill("Ole Brand")
    nobody.look_over("answer the proposed times")
    nobody.press("Save")
    expect(nobody.page.get_by_text("Thank you. The appointment is agreed.")).to_be_visible()
    nobody.look_over("an order by its link, agreed")
    assert Appointment.objects.agreed().get().starts_at == in_days(4, 14)

    proposed(order, in_days(5), in_days(6), side="firm", asked="client")
    client = visitors.enter(User.objects.get(role=User.Role.CLIENT), **look)
    client.open("/your-case/")
    client.look_over("a client who is asked")
    client.follow("Choose a time")
    client.page.get_by_role("radio").first.check()
    client.press("Save")
    client.look_over("a client whose day is agreed")
    expect(client.page.get_by_role("link", name="For your calendar")).to_be_visible()

    person = electrician(order.firm, name="Ole Brand")
    worker = visitors.enter(person, **look)
    worker.open(f"/work-orders/{order.pk}/")
    worker.look_over("an order of a firm, agreed")
    worker.open(f"/calendar/?day={in_days(5).date()}")
    worker.look_over("the calendar of a firm")
    worker.open(f"/calendar/entries/?day={in_days(5).date()}")
    worker.look_over("the list of a firm")


def test_a_busy_calendar_and_ones_own_address(look, visitors) -> None:
    order = order_of_today()
    proposed(order, in_days(8), asked="")
    for nth, name in enumerate(("Edda Falkenberg", "Jonas Reet")):
        person = UserFactory(role="assessor", name=name)
        for days in (7, 8 + nth):
            VisitFactory(date=in_days(days).date(), sealed_at=None, measured_by=person)
    other = sent_order(case_at_works("bonded-shield"), firm(name="South Wiring"))
    proposed(other, in_days(8, 13), asked="", minutes=240)
    office = visitors.enter(UserFactory(role="office", name="Ines Lund"), **look)
    office.open(f"/calendar/?day={in_days(8).date()}")
    office.look_over("a week")
    office.follow("List")
    office.look_over("a list of weeks")
    office.page.get_by_label("Whose").select_option(label="South Wiring")
    office.press("Show")
    expect(office.page.get_by_role("row", name="Edda")).to_have_count(0)
    office.follow("In your own program")
    office.look_over("no address yet")
    office.press("Make an address")
    office.look_over("an address of ones own")
    expect(office.page.get_by_label("Address for your calendar program")).to_have_value(
        re.compile("/calendar/feed/")
    )
    office.open("/practice/")
    office.open("/desk/")
    office.look_over("the desk with its calendar")
