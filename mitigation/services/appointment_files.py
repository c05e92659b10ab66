"""What goes into calendars of an appointment, the mails that bring it, and how it ends."""

from dataclasses import dataclass
from datetime import datetime

from django.conf import settings
from django.db.models import Max
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import override

from consult.models import User
from consult.services.calendar_files import Entry, Method, calendar_file
from consult.services.mail import name_of_practice, queue_mail
from mitigation.models import Appointment, WorkOrder

State = Appointment.State


def when_words(starts: datetime, ends: datetime) -> str:
    """A day with its hours, by the practice's zone and in the reader's language."""
    first, last = timezone.localtime(starts), timezone.localtime(ends)
    return _("%(day)s, %(from)s to %(to)s") % {
        "day": date_format(first, "DATE_FORMAT"),
        "from": date_format(first, "TIME_FORMAT"),
        "to": date_format(last, "TIME_FORMAT"),
    }


def calendar_uid(order: WorkOrder) -> str:
    """What names the appointment of an order in calendars, however often it is moved."""
    return f"order-{order.uid}@ebbmark"


def next_sequence(order: WorkOrder) -> int:
    """The number of the next state of an order's entry in calendars."""
    rows = Appointment.objects.filter(order=order).exclude(starts_at=None)
    highest = rows.aggregate(highest=Max("sequence"))["highest"]
    return 0 if highest is None else highest + 1


def entry_of(appointment: Appointment, *, is_client: bool, attendee: str = "") -> Entry:
    """The entry as a client has it, or as firm and practice have it, who are told the place."""
    order = appointment.order
    starts, ends = appointment.starts_at, appointment.ends_at
    stamped_at = appointment.ended_at or appointment.answered_at
    assert starts is not None and ends is not None and stamped_at is not None
    case = {"case": order.case.reference}
    if is_client:
        summary = _("Electrician: %(firm)s") % {"firm": order.firm.name}
        place, about = "", _("Case %(case)s") % case
    else:
        numbers = case | {"number": str(order.number)}
        summary = _("Work order %(number)s of case %(case)s") % numbers
        place = str(order.case.property)
        about = settings.SITE_URL.rstrip("/") + reverse("work_order", args=[order.pk])
    return Entry(
        uid=calendar_uid(order),
        sequence=appointment.sequence,
        stamped_at=stamped_at,
        starts=starts,
        ends=ends,
        summary=summary,
        description=about,
        location=place,
        attendee=attendee,
        is_cancelled=appointment.state == State.CALLED_OFF,
    )


def file_of(appointment: Appointment, user: User) -> str:
    """The calendar file of an appointment that holds or was called off, to take away."""
    entry = entry_of(appointment, is_client=user.role == User.Role.CLIENT)
    return calendar_file([entry], method="CANCEL" if entry.is_cancelled else "PUBLISH")


def is_latest(appointment: Appointment) -> bool:
    """Whether it is the last word on the entry of its order in calendars."""
    later = Appointment.objects.filter(
        order=appointment.order_id, sequence__gt=appointment.sequence
    ).exclude(starts_at=None)
    has_word = appointment.was_agreed and appointment.state in (State.AGREED, State.CALLED_OFF)
    return has_word and not later.exists()


# -- Mails ----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Reader:
    """Who of an appointment gets a mail."""

    name: str
    email: str
    language: str
    is_client: bool


def readers_of(order: WorkOrder) -> list[Reader]:
    """The firm and the client, where they have an e-mail."""
    firm, client = order.firm, order.case.property.client
    readers = [
        Reader(firm.name, firm.email, firm.language, is_client=False),
        Reader(client.name, client.email, client.language, is_client=True),
    ]
    return [reader for reader in readers if reader.email]


def tell(appointment: Appointment, reader: Reader, *, key: str, subject: str, body: str,
         ics: str = "") -> None:  # fmt: skip
    """Queue a mail about an appointment; it belongs to the client, whoever reads it."""
    order = appointment.order
    queue_mail(
        key=key,
        client=order.case.property.client if reader.is_client else None,
        letter=None if reader.is_client else order.letter,
        to=reader.email,
        subject=subject,
        body=body,
        ics=ics,
    )


def words_of(appointment: Appointment, reader: Reader) -> dict[str, str]:
    """What the mails about an appointment say of it."""
    order, starts, ends = appointment.order, appointment.starts_at, appointment.ends_at
    return {
        "name": reader.name,
        "firm": order.firm.name,
        "number": str(order.number),
        "case": order.case.reference,
        "when": when_words(starts, ends) if starts and ends else "",
        "practice": name_of_practice(),
    }


def tell_agreed(appointment: Appointment) -> None:
    """Send both sides what was agreed, with the file for their calendars."""
    for reader in readers_of(appointment.order):
        with override(reader.language):
            body = (
                _(
                    "Good day %(name)s,\n\n%(firm)s comes to your home:\n\n%(when)s\n\n"
                    "The file with this mail enters it into your calendar. What to prepare is on "
                    "your page once you log in. If the day does not suit any more, please call "
                    "us.\n\n%(practice)s\n"
                )
                if reader.is_client
                else _(
                    "Good day %(name)s,\n\nthe appointment for work order %(number)s of case "
                    "%(case)s is agreed:\n\n%(when)s\n\nThe file with this mail enters it into "
                    "your calendar.\n\n%(practice)s\n"
                )
            )
            words = words_of(appointment, reader)
            subject = _("Agreed: %(when)s (case %(case)s)") % words
            _tell_with_file(appointment, reader, "REQUEST", subject, body % words)


def tell_called_off(appointment: Appointment) -> None:
    """Send both sides that nobody comes, with the file that takes the day out of calendars."""
    for reader in readers_of(appointment.order):
        with override(reader.language):
            body = (
                _(
                    "Good day %(name)s,\n\nthis appointment is called off: %(firm)s does not "
                    "come to your home on\n\n%(when)s\n\nWe will be in touch about another day."
                    "\n\n%(practice)s\n"
                )
                if reader.is_client
                else _(
                    "Good day %(name)s,\n\nthe appointment for work order %(number)s of case "
                    "%(case)s is called off:\n\n%(when)s\n\n%(practice)s\n"
                )
            )
            words = words_of(appointment, reader)
            subject = _("Called off: %(when)s (case %(case)s)") % words
            _tell_with_file(appointment, reader, "CANCEL", subject, body % words)


def _tell_with_file(
    appointment: Appointment, reader: Reader, method: Method, subject: str, body: str
) -> None:
    entry = entry_of(appointment, is_client=reader.is_client, attendee=reader.email)
    side = "client" if reader.is_client else "firm"
    tell(
        appointment,
        reader,
        key=f"appointment:{appointment.pk}:{appointment.sequence}:{side}",
        subject=subject,
        body=body,
        ics=calendar_file([entry], method=method),
    )


# -- Its end --------------------------------------------------------------------------------------


def end_appointment(appointment: Appointment, *, now: datetime, reason: str = "") -> None:
    """Call off what is proposed or agreed; the caller holds the order and sees to its day."""
    was_agreed = appointment.state == State.AGREED
    appointment.state, appointment.ended_at = State.CALLED_OFF, now
    appointment.reason = reason
    if was_agreed:
        appointment.sequence = next_sequence(appointment.order)
    appointment.full_clean()
    appointment.save()
    if was_agreed:
        tell_called_off(appointment)


def end_appointments(*, order: WorkOrder, now: datetime) -> None:
    """An order ends, and with it what is proposed and agreed; the caller saves the order."""
    waiting = [State.PROPOSED, State.AGREED]
    for appointment in Appointment.objects.filter(order=order, state__in=waiting):
        appointment.order = order
        end_appointment(appointment, now=now)
    order.agreed_at = None
