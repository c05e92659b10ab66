"""Appointments: proposed, answered once, moved, called off; their files, mails and questions."""

import datetime as dt
import re
import threading
from importlib import import_module
from typing import Any

import pytest
from django.apps import apps
from django.core.exceptions import ValidationError
from django.db import IntegrityError, connection, transaction
from django.urls import reverse
from django.utils import timezone
from icalendar import Calendar

from consult.models import Client, OutboundMail, Practice
from mitigation.models import Appointment, Case, ProposedTime, Stage, WorkOrder
from mitigation.services.appointment_files import entry_of
from mitigation.services.appointments import (
    agree_time,
    call_off_appointment,
    decline_times,
)
from mitigation.services.work_orders import (
    call_off_order,
    change_order,
    items_to_order,
    make_orders,
    order_of_token,
    order_token,
    refuse_order,
    send_order,
)
from tests.factories import UserFactory, VisitFactory
from tests.forms import opened
from tests.mitigation.ordered_works import (
    case_at_works,
    electrician,
    firm,
    in_days,
    proposed,
    sent_order,
)

pytestmark = pytest.mark.django_db
State = Appointment.State


@pytest.fixture
def office(db) -> Any:
    return UserFactory(role="office")


@pytest.fixture
def order(db) -> Any:
    """An order of a firm and a client who both have an e-mail."""
    Practice.objects.update_or_create(pk=1, defaults={"name": "Ebb", "email": "office@ebb.example"})
    case = case_at_works()
    Client.objects.filter(pk=case.property.client_id).update(email="rosa@example.org")
    return sent_order(case)


def agreed(row: Appointment, at: dt.datetime | None = None) -> Appointment:
    starts = at or row.times.earliest("starts_at").starts_at
    return agree_time(appointment=row, starts_at=starts, name="Ole", by=None, now=timezone.now())


def mail_to(address: str, method: str) -> OutboundMail:
    return OutboundMail.objects.filter(to=address, ics__contains=f"METHOD:{method}").latest("pk")


def event_of(text: str) -> Any:
    [event] = Calendar.from_ical(text).walk("VEVENT")
    return event


# -- Agreed once ----------------------------------------------------------------------------------


def test_an_agreement_sets_the_day_of_the_order(order) -> None:
    row = proposed(order, in_days(3), in_days(4), in_days(5))
    agreed(row, in_days(4))
    order.refresh_from_db()
    row.refresh_from_db()
    assert order.agreed_at == row.starts_at == in_days(4)
    assert row.ends_at == in_days(4) + dt.timedelta(minutes=120)
    assert order.history.first().agreed_at == in_days(4)


def test_the_first_answer_holds_and_the_same_again_is_none(order) -> None:
    row = proposed(order, in_days(3), in_days(4))
    agreed(row, in_days(3))
    agreed(row, in_days(3))
    with pytest.raises(ValidationError, match="by now"):
        agreed(row, in_days(4))
    with pytest.raises(ValidationError, match="by now"):
        decline_times(appointment=row, reason="No", name="Ole", by=None, now=timezone.now())
    assert OutboundMail.objects.filter(key__startswith="appointment:").count() == 2


def test_a_time_that_nobody_proposed_or_that_is_over_is_not_agreed(order) -> None:
    row = proposed(order, in_days(3))
    with pytest.raises(ValidationError, match="one of the proposed"):
        agreed(row, in_days(4))
    later = in_days(3) + dt.timedelta(minutes=1)
    with pytest.raises(ValidationError, match="is over"):
        agree_time(appointment=row, starts_at=in_days(3), name="Ole", by=None, now=later)


@pytest.mark.parametrize(
    ("moments", "words"),
    [
        ([in_days(-1)], "still to come"),
        ([in_days(day) for day in range(1, 5)], "one to three"),
        ([in_days(400)], "next year"),
    ],
)
def test_unfit_times_are_refused(order, moments, words) -> None:
    with pytest.raises(ValidationError, match=words):
        proposed(order, *moments)


def test_what_waited_is_replaced_and_the_same_again_is_the_same(order) -> None:
    first = proposed(order, in_days(3))
    assert proposed(order, in_days(3)) == first
    second = proposed(order, in_days(4))
    first.refresh_from_db()
    assert (first.state, second.state) == (State.REPLACED, State.PROPOSED)


def test_no_day_is_agreed_for_an_order_or_a_case_that_is_over(order, office) -> None:
    Case.objects.filter(pk=order.case_id).update(stage=Stage.DECLINED)
    with pytest.raises(ValidationError, match="has ended"):
        proposed(order)
    Case.objects.filter(pk=order.case_id).update(stage=Stage.WORKS)
    row = proposed(order)
    call_off_order(order=order, by=office, now=timezone.now(), reason="They move out.")
    row.refresh_from_db()
    assert row.state == State.CALLED_OFF
    with pytest.raises(ValidationError, match="called off"):
        proposed(order)


def test_the_database_lets_one_be_agreed_and_nothing_be_altered(order) -> None:
    row = agreed(proposed(order))
    later = {"starts_at": in_days(9), "ends_at": in_days(9, 11)}
    with pytest.raises(IntegrityError, match=r"(?i)unique"), transaction.atomic():
        Appointment.objects.filter(pk=proposed(order, in_days(9)).pk).update(
            state=State.AGREED, **later
        )
    for rows, change in (
        (Appointment.objects.filter(pk=row.pk), later),
        (Appointment.objects.filter(pk=row.pk), {"minutes": 30}),
        (ProposedTime.objects.filter(appointment=row), {"starts_at": in_days(9)}),
    ):
        with pytest.raises(Exception, match="stays as it was"), transaction.atomic():
            rows.update(**change)


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("time", range(3))
def test_of_two_answers_at_once_one_holds(order, time) -> None:
    row = proposed(order, in_days(3), in_days(4))
    start, refused = threading.Barrier(2), []

    def answer(at: dt.datetime) -> None:
        try:
            start.wait(20)
            agreed(row, at)
        except ValidationError as error:
            refused.append(" ".join(error.messages))
        finally:
            connection.close()

    threads = [threading.Thread(target=answer, args=[in_days(day)]) for day in (3, 4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)
    order.refresh_from_db()
    row.refresh_from_db()
    assert row.state == State.AGREED and order.agreed_at == row.starts_at
    assert len(refused) == 1 and "by now" in refused[0]
    assert OutboundMail.objects.filter(key__startswith="appointment:").count() == 2


def test_a_day_that_was_typed_before_becomes_an_appointment_of_two_hours(order, office) -> None:
    ended = sent_order(case_at_works("demand-switch"))
    call_off_order(order=ended, by=office, now=timezone.now(), reason="They move out.")
    WorkOrder.objects.update(agreed_at=in_days(5))
    import_module("mitigation.migrations.0028_appointments").keep_agreed_days(apps, None)
    row = Appointment.objects.get()
    assert (row.order, row.state, row.starts_at) == (order, State.AGREED, in_days(5))
    assert row.ends_at == in_days(5, 11)
    moved = proposed(order, in_days(6), asked="")
    assert moved.sequence == 1 and Appointment.objects.agreed().get() == moved


# -- Files and mails ------------------------------------------------------------------------------


def test_both_sides_get_the_file_and_it_is_the_same_entry_when_moved_and_called_off(order) -> None:
    first = agreed(proposed(order))
    sent = [event_of(mail_to("orders@wiring.example", "REQUEST").ics)]
    agreed(proposed(order, in_days(9)))
    sent.append(event_of(mail_to("orders@wiring.example", "REQUEST").ics))
    row = Appointment.objects.agreed().get()
    call_off_appointment(appointment=row, reason="Ill", by=None, now=timezone.now())
    sent.append(event_of(mail_to("orders@wiring.example", "CANCEL").ics))
    assert len({str(event["UID"]) for event in sent}) == 1
    assert [int(event["SEQUENCE"]) for event in sent] == [0, 1, 2]
    assert [event.decoded("DTSTART") for event in sent] == [in_days(7), in_days(9), in_days(9)]
    assert [str(event["STATUS"]) for event in sent] == ["CONFIRMED", "CONFIRMED", "CANCELLED"]
    assert all(event.decoded("DTSTART").tzinfo is dt.UTC or "Z" in str(event["DTSTART"].to_ical())
               for event in sent)  # fmt: skip
    first.refresh_from_db()
    order.refresh_from_db()
    assert first.state == State.REPLACED and order.agreed_at is None
    assert int(event_of(mail_to("rosa@example.org", "CANCEL").ics)["SEQUENCE"]) == 2


def test_the_stamp_is_the_rows_and_so_are_the_bytes(order, client, office) -> None:
    row = agreed(proposed(order))
    client.force_login(office)
    page = reverse("appointment_file", args=[row.pk])
    first, again = client.get(page), client.get(page)
    assert first.content == again.content and first["Content-Type"] == "text/calendar"
    event = event_of(first.content.decode())
    assert event.decoded("DTSTAMP") == row.answered_at.replace(microsecond=0)
    assert b"METHOD:PUBLISH" in first.content and "ATTENDEE" not in event


def test_the_firm_is_told_the_place_and_the_client_the_firm(order) -> None:
    order.case.property.client.name = "Rosa Lind"
    agreed(proposed(order))
    to_firm = event_of(mail_to("orders@wiring.example", "REQUEST").ics)
    to_client = event_of(mail_to("rosa@example.org", "REQUEST").ics)
    assert str(to_firm["LOCATION"]) == str(order.case.property)
    assert "LOCATION" not in to_client and order.firm.name in str(to_client["SUMMARY"])
    words = mail_to("rosa@example.org", "REQUEST").ics + mail_to("rosa@example.org", "REQUEST").body
    for private in (order.access, order.contact, order.words, "300"):
        assert not private or private not in words


def test_a_file_of_what_was_replaced_would_undo_the_new_one(order, client, office) -> None:
    row = agreed(proposed(order))
    agreed(proposed(order, in_days(9)))
    client.force_login(office)
    assert client.get(reverse("appointment_file", args=[row.pk])).status_code == 404
    row.refresh_from_db()
    assert entry_of(row, is_client=False).sequence == 0


def test_a_refused_order_calls_its_appointment_off(order) -> None:
    row = agreed(proposed(order))
    refuse_order(order=order, name="Ole", reason="No time.", by=None, now=timezone.now())
    row.refresh_from_db()
    order.refresh_from_db()
    assert row.state == State.CALLED_OFF and order.agreed_at is None
    assert event_of(mail_to("rosa@example.org", "CANCEL").ics)["SEQUENCE"] == 1


def test_a_sheet_that_says_another_day_is_made_anew(order, office) -> None:
    agreed(proposed(order))
    given = {"access": "Ring twice"}
    change_order(order=order, by=office, now=timezone.now(), seen=None, values=given)
    order.refresh_from_db()
    before, sheet = order.content["agreed"], order.letter
    agreed(proposed(order, in_days(9)))
    order.refresh_from_db()
    assert before and order.content["agreed"] not in ("", before)
    assert order.letter.corrects == sheet


# -- Pages ----------------------------------------------------------------------------------------


def link_of(row: Appointment) -> str:
    mail = OutboundMail.objects.get(key__startswith=f"proposal:{row.pk}:")
    return re.search(r"https?://[^/]+(/\S+)", mail.body)[1]


def test_the_firm_answers_by_its_link_and_a_look_changes_nothing(order, client) -> None:
    row = proposed(order, in_days(3), in_days(4))
    page = link_of(row)
    form = opened(client, page)
    row.refresh_from_db()
    assert row.state == State.PROPOSED
    time = row.times.get(starts_at=in_days(4))
    answer = client.post(page, form | {"time": time.pk, "name": "Ole Brand"})
    assert answer.status_code == 302
    row.refresh_from_db()
    assert (row.state, row.starts_at, row.answered_name) == (State.AGREED, in_days(4), "Ole Brand")
    assert client.get(page).status_code == 410


def test_none_of_the_times_wants_words(order, client) -> None:
    row = proposed(order)
    page = link_of(row)
    form = opened(client, page) | {"time": "none", "name": "Ole"}
    assert client.post(page, form).status_code == 422
    assert client.post(page, form | {"reason": "Mornings"}).status_code == 302
    row.refresh_from_db()
    assert (row.state, row.reason) == (State.DECLINED, "Mornings")


def test_a_client_chooses_on_their_own_page(order, client) -> None:
    login = UserFactory(role="client", name="Rosa Lind")
    Client.objects.filter(pk=order.case.property.client_id).update(user=login)
    row = proposed(order, side="firm", asked="client")
    client.force_login(login)
    home = client.get(reverse("client_home")).content.decode()
    page = reverse("own_appointment_answer", args=[row.pk])
    assert page in home
    form = opened(client, page)
    assert form["name"] == "Rosa Lind"
    assert client.post(page, form | {"time": row.times.get().pk}).url == reverse("client_home")
    home = client.get(reverse("client_home")).content.decode()
    file = reverse("own_appointment_file", args=[row.pk])
    assert file in home
    words = client.get(file).content.decode()
    assert order.firm.name in words and order.access not in words


def test_a_firm_does_not_answer_for_the_client_nor_another_firm_at_all(order, client) -> None:
    row = proposed(order, side="firm", asked="client")
    client.force_login(electrician(order.firm))
    assert client.get(reverse("appointment_answer", args=[row.pk])).status_code == 403
    client.force_login(electrician(firm(name="South")))
    for name in ("appointment_answer", "appointment_call_off", "appointment_file"):
        assert client.get(reverse(name, args=[row.pk])).status_code == 404


def test_the_office_enters_what_was_agreed_by_phone(order, client, office) -> None:
    client.force_login(office)
    page = reverse("appointment_propose", args=[order.pk])
    form = opened(client, page) | {"asked": "", "first": in_days(3).strftime("%Y-%m-%dT%H:%M")}
    for _click in range(2):
        assert client.post(page, form).url == reverse("work_order", args=[order.pk])
    row = Appointment.objects.get()
    assert (row.state, row.asked, row.answered_name) == (State.AGREED, "", office.name)
    shown = client.get(reverse("work_order", args=[order.pk])).content.decode()
    assert reverse("appointment_file", args=[row.pk]) in shown


def test_an_order_with_a_link_shows_what_is_asked(order, client) -> None:
    row = proposed(order)
    key = OutboundMail.objects.get(key__startswith="order:").key
    token = order_token(order, key)
    shown = client.get(reverse("order_link", args=[token])).content.decode()
    assert reverse("order_link_appointment", args=[token]) in shown
    agreed(row)
    assert order_of_token(token) == order  # its sheet says no day, so it stays


# -- What overlaps --------------------------------------------------------------------------------


def asked_words(client: Any, page: str, form: dict[str, Any]) -> str:
    answer = client.post(page, form)
    assert answer.status_code == 422
    return answer.content.decode()


def test_what_overlaps_is_asked_about_and_a_tick_enters_it(order, client, office) -> None:
    other = sent_order(case_at_works("demand-switch"), order.firm)
    proposed(other, in_days(3), asked="")
    VisitFactory(property=order.case.property, date=in_days(3).date(), sealed_at=None)
    client.force_login(office)
    page = reverse("appointment_propose", args=[order.pk])
    at = (in_days(3) + dt.timedelta(hours=1)).strftime("%Y-%m-%dT%H:%M")
    form = opened(client, page) | {"first": at}
    words = asked_words(client, page, form)
    assert f"order 1 of case {other.case.reference}" in words and "visit of the practice" in words
    tick = re.search(r'name="meant" value="(\w+)"', words)[1]
    assert client.post(page, form | {"meant": tick}).status_code == 302
    assert Appointment.objects.filter(order=order).exists()


def test_two_firms_in_a_home_are_asked_about_without_naming_a_firm_to_the_other(
    order, client
) -> None:
    proposed(order, in_days(3), asked="")
    item = order.items.get(position=0).item
    type(item).objects.create(
        case=order.case, name="R9", position=9, remedy=item.remedy, room=item.room, state="accepted"
    )
    south = firm(name="South", email="south@wiring.example")
    [second] = _ordered(order.case, south)
    row = proposed(second, in_days(3), asked="firm")
    client.force_login(electrician(south))
    page = reverse("appointment_answer", args=[row.pk])
    words = asked_words(client, page, opened(client, page) | {"time": row.times.get().pk})
    assert "Somebody else is in this home" in words and order.firm.name not in words


def _ordered(case: Case, to: Any) -> list[Any]:
    office, now = UserFactory(), timezone.now()
    orders = make_orders(
        case=case, by=office, now=now, firm_of={item.pk: to for item in items_to_order(case)}
    )
    return [send_order(order=order, by=office, now=now) for order in orders]


def test_what_only_touches_does_not_overlap(order, client, office) -> None:
    other = sent_order(case_at_works("demand-switch"), order.firm)
    proposed(other, in_days(3), asked="")
    client.force_login(office)
    page = reverse("appointment_propose", args=[order.pk])
    after = (in_days(3) + dt.timedelta(minutes=120)).strftime("%Y-%m-%dT%H:%M")
    assert client.post(page, opened(client, page) | {"first": after}).status_code == 302
