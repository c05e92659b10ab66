"""Reminders: once each, on their day, and none where nobody waits for one."""

import datetime as dt
from typing import Any

import pytest
from django.urls import reverse
from django.utils import timezone

from consult.models import Client, Job, OutboundMail, Practice
from consult.services.jobs import Run
from consult.services.privacy.erasures import erase_person
from consult.services.sending import mark_posted
from consult.tasks import run_job
from mitigation.models import Appointment, Case, Stage, WorkOrder
from mitigation.services.appointments import call_off_appointment, decline_times
from mitigation.services.cases import begin_round, hold_case, move_case
from mitigation.services.reminders import (
    remind_appointment,
    remind_measuring,
    remind_order,
    remind_proposal,
)
from mitigation.services.work_orders import (
    call_off_order,
    change_order,
    order_of_token,
    take_order,
)
from tests.factories import UserFactory, compared_case, ready_letter
from tests.forms import opened
from tests.mitigation.ordered_works import case_at_works, in_days, proposed, sent_order

pytestmark = pytest.mark.django_db
HANDLERS = {
    "remind-appointment": remind_appointment,
    "remind-order": remind_order,
    "remind-proposal": remind_proposal,
    "remind-measuring": remind_measuring,
}
PREFIXES = {
    "remind-appointment": "appointment-reminder:",
    "remind-order": "order-reminder:",
    "remind-proposal": "proposal-reminder:",
    "remind-measuring": "measure-again:",
}
SWITCHES = {
    "remind-appointment": "reminds_of_appointments",
    "remind-order": "reminds_of_silence",
    "remind-proposal": "reminds_of_silence",
    "remind-measuring": "reminds_of_measuring",
}
OF_ORDERS = ("remind-appointment", "remind-order", "remind-proposal")


def waiting(kind: str) -> Any:
    """A row that a reminder of this kind is planned for."""
    if kind == "remind-measuring":
        return closed_case()
    case = case_at_works()
    Client.objects.filter(pk=case.property.client_id).update(email="rosa@example.org")
    order = sent_order(case)
    if kind == "remind-appointment":
        proposed(order, in_days(7), asked="")
    if kind == "remind-proposal":
        proposed(order, in_days(7), asked="client")
    return order


def closed_case() -> Case:
    """A case that was closed after its outcome letter went out."""
    case = compared_case()
    Client.objects.filter(pk=case.property.client_id).update(email="rosa@example.org")
    Case.objects.filter(pk=case.pk).update(stage=Stage.PROOF)
    letter = ready_letter(case)
    mark_posted(letter=letter, by=UserFactory(), now=timezone.now())
    assert run_job(Job.objects.get(kind="letter-sent").pk)
    case.refresh_from_db()
    if case.stage != Stage.CLOSED:
        move_case(case=case, to=Stage.CLOSED, by=UserFactory(), now=timezone.now())
    case.refresh_from_db()
    assert case.stage == Stage.CLOSED
    return case


def due(kind: str) -> int:
    """Run the job of a kind twice, the second time as after a killed worker; the mails of it."""
    job = Job.objects.get(kind=kind)
    Job.objects.filter(pk=job.pk).update(run_after=timezone.now())
    assert run_job(job.pk)
    HANDLERS[kind](job.arguments, Run(job.pk, 2))
    job.refresh_from_db()
    assert job.state == Job.State.DONE, job.last_error
    return mails(kind).count()


def mails(kind: str) -> Any:
    return OutboundMail.objects.filter(key__startswith=PREFIXES[kind])


@pytest.mark.parametrize("kind", HANDLERS)
def test_a_job_that_runs_twice_reminds_once(kind) -> None:
    waiting(kind)
    assert due(kind) == (2 if kind == "remind-appointment" else 1)  # firm and client


@pytest.mark.parametrize("kind", HANDLERS)
def test_a_kind_that_is_switched_off_reminds_nobody(kind) -> None:
    waiting(kind)
    Practice.objects.update_or_create(pk=1, defaults={SWITCHES[kind]: False})
    assert due(kind) == 0


@pytest.mark.parametrize("kind", OF_ORDERS)
def test_nobody_is_reminded_in_a_case_on_hold_or_at_its_end(kind) -> None:
    order = waiting(kind)
    hold_case(case=order.case, reason="Abroad", by=UserFactory(), now=timezone.now())
    assert due(kind) == 0
    Case.objects.filter(pk=order.case_id).update(on_hold_reason="", stage=Stage.DECLINED)
    HANDLERS[kind](Job.objects.get(kind=kind).arguments, Run(0, 1))
    assert not mails(kind).exists()


@pytest.mark.parametrize("kind", OF_ORDERS)
def test_nobody_is_reminded_of_an_order_that_was_called_off(kind) -> None:
    order = waiting(kind)
    call_off_order(order=order, by=UserFactory(), now=timezone.now(), reason="They move out.")
    assert due(kind) == 0


@pytest.mark.parametrize("kind", HANDLERS)
def test_nobody_is_reminded_after_an_erasure(kind) -> None:
    row = waiting(kind)
    case = row.case if isinstance(row, WorkOrder) else row
    Case.objects.filter(pk=case.pk).update(stage=Stage.DECLINED)
    for letter in Job.objects.filter(kind="render-letter"):
        run_job(letter.pk)
    arguments = Job.objects.get(kind=kind).arguments
    manager = UserFactory(is_manager=True)
    client = case.property.client
    erase_person(person=client, by=manager, now=timezone.now(), reason="asked for it")
    assert not Job.objects.filter(kind=kind).exists()
    HANDLERS[kind](arguments, Run(0, 1))
    assert not mails(kind).exists()


# -- Before an appointment ------------------------------------------------------------------------


def test_the_day_before_is_a_morning() -> None:
    waiting("remind-appointment")
    at = timezone.localtime(Job.objects.get(kind="remind-appointment").run_after)
    assert (at.date(), at.hour) == (in_days(6).date(), 8)


def test_what_was_moved_reminds_of_the_new_day_alone() -> None:
    order = waiting("remind-appointment")
    proposed(order, in_days(9), asked="")
    old, new = Job.objects.filter(kind="remind-appointment").order_by("run_after")
    for job in (old, new):
        Job.objects.filter(pk=job.pk).update(run_after=timezone.now())
        run_job(job.pk)
    agreed = Appointment.objects.agreed().get()
    keys = mails("remind-appointment").values_list("key", flat=True)
    assert set(keys) == {f"appointment-reminder:{agreed.pk}:{side}" for side in ("firm", "client")}


def test_an_appointment_that_was_called_off_reminds_nobody() -> None:
    waiting("remind-appointment")
    row = Appointment.objects.agreed().get()
    call_off_appointment(appointment=row, reason="Ill", by=None, now=timezone.now())
    assert due("remind-appointment") == 0


def test_what_is_agreed_for_tomorrow_is_told_once_only() -> None:
    proposed(sent_order(case_at_works()), timezone.now() + dt.timedelta(hours=5), asked="")
    assert not Job.objects.filter(kind="remind-appointment").exists()


# -- After silence --------------------------------------------------------------------------------


def test_a_silent_firm_gets_a_link_that_opens_the_order(client) -> None:
    order = waiting("remind-order")
    assert (Job.objects.get(kind="remind-order").run_after - order.sent_at).days == 7
    assert due("remind-order") == 1
    link = next(word for word in mails("remind-order").get().body.split() if "/link/" in word)
    assert order_of_token(link.rstrip("/").rpartition("/")[2]) == order


def test_a_firm_that_answered_in_any_way_is_not_reminded() -> None:
    order = waiting("remind-order")
    take_order(order=order, name="Ole", by=None, now=timezone.now())
    assert due("remind-order") == 0


def test_a_firm_that_proposed_a_day_is_not_reminded() -> None:
    proposed(waiting("remind-order"), side="firm", asked="client")
    assert due("remind-order") == 0


def test_a_new_sheet_begins_the_silence_anew() -> None:
    order = waiting("remind-order")
    given = {"access": "Ring twice"}
    change_order(order=order, by=UserFactory(), now=timezone.now(), seen=None, values=given)
    first, second = Job.objects.filter(kind="remind-order").order_by("pk")
    remind_order(first.arguments, Run(0, 1))
    assert not mails("remind-order").exists()
    remind_order(second.arguments, Run(0, 1))
    assert mails("remind-order").count() == 1


def test_an_answered_proposal_reminds_nobody() -> None:
    waiting("remind-proposal")
    row = Appointment.objects.open().get()
    decline_times(appointment=row, reason="Later", name="Rosa", by=None, now=timezone.now())
    assert due("remind-proposal") == 0


# -- A year later ---------------------------------------------------------------------------------


def test_a_year_later_the_client_is_asked(client) -> None:
    case = waiting("remind-measuring")
    job = Job.objects.get(kind="remind-measuring")
    assert (job.run_after - timezone.now()).days in (364, 365)
    assert due("remind-measuring") == 1
    mail = mails("remind-measuring").get()
    assert mail.to == "rosa@example.org" and case.reference in mail.body


def test_a_case_that_was_reopened_asks_nobody_even_closed_again() -> None:
    case = waiting("remind-measuring")
    office, now = UserFactory(), timezone.now()
    begin_round(case=case, reason="Another panel", by=office, now=now)
    arguments = Job.objects.get(kind="remind-measuring").arguments
    remind_measuring(arguments, Run(0, 1))
    case.refresh_from_db()
    case.stage = Stage.CLOSED
    case.save()
    remind_measuring(arguments, Run(0, 1))
    assert not mails("remind-measuring").exists()


def test_who_runs_the_practice_switches_reminders_off(client) -> None:
    client.force_login(UserFactory(is_manager=True))
    page = reverse("practice")
    form = opened(client, page)
    assert form["reminds_of_silence"] is True
    form.pop("reminds_of_silence")
    assert client.post(page, form).status_code == 302
    row = Practice.objects.get()
    assert (row.reminds_of_silence, row.reminds_of_appointments) == (False, True)
