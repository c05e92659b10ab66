"""Appointments: proposed by the office or a firm, answered by the other side, moved, called off."""

from collections.abc import Sequence
from datetime import datetime, timedelta

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import transaction
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop, override

from consult.models import User
from consult.services.changes import held, save_row
from mitigation.models import ENDS, Appointment, ProposedTime, WorkOrder
from mitigation.services.appointment_files import (
    end_appointment,
    next_sequence,
    readers_of,
    tell,
    tell_agreed,
    when_words,
    words_of,
)
from mitigation.services.reminder_plans import (
    plan_appointment_reminder,
    plan_proposal_reminder,
)
from mitigation.services.work_orders import order_token, renew_sheet

State, Side, Asked = Appointment.State, Appointment.Side, Appointment.Asked
MOST_TIMES = 3
ASKED_SUBJECT = gettext_noop("When can it be? Case %(case)s")
MOST_AHEAD = timedelta(days=366)


@transaction.atomic
def propose_times(
    *,
    order: WorkOrder,
    side: str,
    asked: str,
    starts: Sequence[datetime],
    minutes: int,
    name: str,
    by: User | None,
    now: datetime,
) -> Appointment:
    """Propose one to three times; where nobody is `asked` the only one is agreed by that.

    What waited for an answer is replaced, the very same again is the one that waits. An agreed
    appointment holds until another one is agreed.
    """
    row = _to_agree_on(order)
    moments = sorted(set(starts))
    _refuse_unfit(moments, now, is_agreed=not asked)
    same = _same(row, asked, moments, minutes)
    if same is not None:  # a double click, or the page sent again
        return same
    for waiting in Appointment.objects.open().filter(order=row):
        _replace(waiting, now)
    appointment = Appointment(
        order=row, side=side, asked=asked, minutes=minutes, proposed_at=now,
        proposed_by=by, proposed_name=name,
    )  # fmt: skip
    appointment.full_clean()
    appointment.save()
    for moment in moments:
        ProposedTime.objects.create(appointment=appointment, starts_at=moment)
    if asked:
        ask_by_mail(appointment, what="proposal", subject=ASKED_SUBJECT)
        plan_proposal_reminder(appointment, now)
    else:
        _agree(appointment, moments[0], name, by, now)
    return appointment


@transaction.atomic
def agree_time(
    *, appointment: Appointment, starts_at: datetime, name: str, by: User | None, now: datetime
) -> Appointment:
    """Agree on one of the proposed times; of two answers at once the first holds."""
    row = _to_answer(appointment)
    if row.state == State.AGREED and row.starts_at == starts_at:
        return row
    _refuse_answered(row)
    if not row.times.filter(starts_at=starts_at).exists():
        raise ValidationError(_("Choose one of the proposed times."))
    if starts_at <= now:
        raise ValidationError(_("This time is over. Ask for another one."))
    _agree(row, starts_at, name, by, now)
    return row


@transaction.atomic
def decline_times(
    *, appointment: Appointment, reason: str, name: str, by: User | None, now: datetime
) -> Appointment:
    """None of the proposed times suits; what was agreed before still holds."""
    row = _to_answer(appointment)
    if row.state == State.DECLINED:
        return row
    _refuse_answered(row)
    row.state, row.reason = State.DECLINED, reason
    row.answered_at, row.answered_by, row.answered_name = now, by, name
    row.full_clean()
    row.save()
    return row


@transaction.atomic
def call_off_appointment(
    *, appointment: Appointment, reason: str, by: User | None, now: datetime
) -> Appointment:
    """Nobody comes on the agreed day, or a proposal is taken back; the order stays as it is."""
    row = _to_answer(appointment)
    if row.state == State.CALLED_OFF:
        return row
    if row.state not in (State.PROPOSED, State.AGREED):
        raise ValidationError(_("This appointment is %(state)s by now.") % {
            "state": row.get_state_display()
        })  # fmt: skip
    was_agreed = row.state == State.AGREED
    end_appointment(row, now=now, reason=reason)
    if was_agreed:
        _set_day(row.order, None, by, now)
    return row


def _to_agree_on(order: WorkOrder) -> WorkOrder:
    """The order, held; refused when nobody comes for it."""
    row = held(order)
    if row.case.stage in ENDS:
        raise ValidationError(_("The case has ended. Reopen it before you agree on a day."))
    if row.state not in WorkOrder.AT_WORK:
        raise ValidationError(_("This order is %(state)s. No day is agreed for it.") % {
            "state": row.get_state_display()
        })  # fmt: skip
    return row


def _to_answer(appointment: Appointment) -> Appointment:
    """The appointment as it stands; whoever acts on those of an order holds the order first."""
    order = held(appointment.order)
    row = Appointment.objects.get(pk=appointment.pk)
    row.order = order
    return row


def _refuse_answered(row: Appointment) -> None:
    if row.state != State.PROPOSED:
        raise ValidationError(_("This appointment is %(state)s by now.") % {
            "state": row.get_state_display()
        })  # fmt: skip
    _to_agree_on(row.order)


def _refuse_unfit(moments: Sequence[datetime], now: datetime, *, is_agreed: bool) -> None:
    if not 1 <= len(moments) <= (1 if is_agreed else MOST_TIMES):
        words = _("What is agreed is one time.") if is_agreed else _("Propose one to three times.")
        raise ValidationError(words)
    if any(moment <= now for moment in moments):
        raise ValidationError(_("A time that is still to come."))
    if any(moment > now + MOST_AHEAD for moment in moments):
        raise ValidationError(_("A time within the next year."))


def _same(
    order: WorkOrder, asked: str, moments: Sequence[datetime], minutes: int
) -> Appointment | None:
    rows = Appointment.objects.filter(order=order, asked=asked, minutes=minutes)
    if not asked:
        return rows.agreed().filter(starts_at=moments[0]).first()
    row = rows.open().first()
    is_same = row is not None and [time.starts_at for time in row.times.all()] == list(moments)
    return row if is_same else None


def _replace(row: Appointment, now: datetime) -> None:
    row.state, row.ended_at = State.REPLACED, now
    row.full_clean()
    row.save()


def _agree(
    row: Appointment, starts_at: datetime, name: str, by: User | None, now: datetime
) -> None:
    sequence = next_sequence(row.order)
    for before in Appointment.objects.agreed().filter(order=row.order):
        _replace(before, now)
    row.state, row.sequence = State.AGREED, sequence
    row.starts_at, row.ends_at = starts_at, starts_at + row.length
    row.answered_at, row.answered_by, row.answered_name = now, by, name
    row.full_clean()
    row.save()
    _set_day(row.order, starts_at, by, now)
    tell_agreed(row)
    plan_appointment_reminder(row, now)


def _set_day(order: WorkOrder, at: datetime | None, by: User | None, now: datetime) -> None:
    """The day of an order; a sheet that says another one is made anew."""
    order.agreed_at = at
    save_row(row=order, by=by, fields=["agreed_at"])
    if order.content.get("agreed"):
        renew_sheet(order=order, by=by, now=now)


# -- Who is asked ---------------------------------------------------------------------------------


def ask_by_mail(appointment: Appointment, *, what: str, subject: str) -> None:
    """Mail the times to the side that is asked, where it has an e-mail, with the way to answer.

    `what` tells the mails about one proposal apart.
    """
    order, is_client = appointment.order, appointment.asked == Asked.CLIENT
    for reader in readers_of(order):
        if reader.is_client != is_client:
            continue
        key = f"{what}:{appointment.pk}:{order.content_sha256[:16]}"
        page = (
            reverse("own_appointment_answer", args=[appointment.pk])
            if is_client
            else reverse("order_link_appointment", args=[order_token(order, key)])
        )
        with override(reader.language):
            words = words_of(appointment, reader) | {
                "times": "\n".join(times_words(appointment)),
                "link": settings.SITE_URL.rstrip("/") + page,
            }
            body = (
                _(
                    "Good day %(name)s,\n\n%(firm)s would like to come to your home. Which of "
                    "these times suits you?\n\n%(times)s\n\nPlease log in to answer:\n\n%(link)s"
                    "\n\n%(practice)s\n"
                )
                if is_client
                else _(
                    "Good day %(name)s,\n\nwhen can you carry out work order %(number)s of case "
                    "%(case)s? We propose:\n\n%(times)s\n\nYou can answer here:\n\n%(link)s\n\n"
                    "%(practice)s\n"
                )
            )
            tell(appointment, reader, key=key, subject=_(subject) % words, body=body % words)


def times_words(appointment: Appointment) -> list[str]:
    """Each proposed time in words."""
    length = appointment.length
    return [when_words(time.starts_at, time.starts_at + length) for time in appointment.times.all()]


def latest_time(appointment: Appointment) -> datetime | None:
    """The last of the proposed moments."""
    return max((time.starts_at for time in appointment.times.all()), default=None)


def is_over(appointment: Appointment, now: datetime | None = None) -> bool:
    """Whether none of the proposed times is still to come."""
    latest = latest_time(appointment)
    return latest is None or latest <= (now or timezone.now())
