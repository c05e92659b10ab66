"""When somebody is to be reminded: jobs for later, which look then whether it is still so."""

from datetime import datetime, time, timedelta

from django.utils import timezone

from consult.models import Letter
from consult.services.jobs import enqueue
from mitigation.letters import outcome
from mitigation.models import Appointment, CaseLetter, WorkOrder

REMIND_APPOINTMENT = "remind-appointment"
REMIND_ORDER = "remind-order"
REMIND_PROPOSAL = "remind-proposal"
REMIND_MEASURING = "remind-measuring"

MORNING = time(8)  # of the day before an appointment
SILENT_ORDER = timedelta(days=7)
SILENT_PROPOSAL = timedelta(days=3)
A_YEAR = timedelta(days=365)
"""How long to wait before a reminder: house assumptions, all four."""


def plan_appointment_reminder(appointment: Appointment, now: datetime) -> None:
    """The day before; none where that morning is over: the agreement itself has just gone out."""
    assert appointment.starts_at is not None
    day = timezone.localtime(appointment.starts_at).date() - timedelta(days=1)
    at = timezone.make_aware(datetime.combine(day, MORNING))
    if at > now:
        enqueue(
            kind=REMIND_APPOINTMENT,
            key=f"{REMIND_APPOINTMENT}:{appointment.pk}",
            arguments={"appointment": appointment.pk},
            run_after=at,
        )


def plan_order_reminder(order: WorkOrder, now: datetime) -> None:
    """For each sheet that goes out: who gets a new one has as long again."""
    sheet = order.content_sha256[:16]
    enqueue(
        kind=REMIND_ORDER,
        key=f"{REMIND_ORDER}:{order.pk}:{sheet}",
        arguments={"order": order.pk, "sheet": sheet},
        run_after=now + SILENT_ORDER,
    )


def plan_proposal_reminder(appointment: Appointment, now: datetime) -> None:
    enqueue(
        kind=REMIND_PROPOSAL,
        key=f"{REMIND_PROPOSAL}:{appointment.pk}",
        arguments={"appointment": appointment.pk},
        run_after=now + SILENT_PROPOSAL,
    )


def plan_measuring_reminder(letter: Letter) -> None:
    """A year after the outcome letter of a case was sent, however often it was sent."""
    sent = [at for at in (letter.emailed_at, letter.posted_at) if at is not None]
    about = CaseLetter.objects.filter(letter=letter).first()
    if letter.kind != outcome.KIND or not sent or about is None:
        return
    enqueue(
        kind=REMIND_MEASURING,
        key=f"{REMIND_MEASURING}:{about.case_id}:{letter.pk}",
        arguments={"case": about.case_id, "letter": letter.pk},
        run_after=min(sent) + A_YEAR,
    )
