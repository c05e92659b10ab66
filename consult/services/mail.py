"""Mail as rows: written with the change it tells of, sent by a job."""

import re
from email.mime.text import MIMEText
from email.utils import formataddr, make_msgid, parseaddr
from typing import Any

from django.conf import settings
from django.core.mail import EmailMessage
from django.db import transaction
from django.utils import timezone

from consult.models import Client, Letter, OutboundMail, User, current_practice
from consult.models.texts import as_one_line
from consult.services.calendar_files import method_of
from consult.services.jobs import Run, enqueue

SEND_MAIL = "send-mail"
# A link opens a letter or an account: once it is with its reader, only its host is kept.
_LINK_PATH = re.compile(r"(https?://[^/\s]+/)\S+")


def name_of_practice() -> str:
    """Who a mail or a copy of data says that it comes from."""
    return current_practice().name or "Ebbmark"


def queue_mail(
    *,
    key: str,
    to: str,
    subject: str,
    body: str,
    client: Client | None = None,
    user: User | None = None,
    letter: Letter | None = None,
    ics: str = "",
) -> OutboundMail:
    """Write a message in the caller's transaction; the same key again gives the same message.

    It belongs to the client or log-in that it is for, and to the letter that it brings. `ics` is
    the calendar file that goes with it.

    It comes in the practice's name, and answers go to the practice's e-mail.
    """
    with transaction.atomic():
        mail = OutboundMail.objects.filter(key=key).first()
        if mail is None:
            practice = current_practice()
            fields: dict[str, Any] = {
                "client": client,
                "user": user,
                "letter": letter,
                "to": to,
                "subject": as_one_line(subject)[:200],
                "body": body,
                "ics": ics,
                "sender_name": as_one_line(practice.name),
                "reply_to": practice.email,
                "message_id": make_msgid(domain="ebbmark"),
            }
            OutboundMail(key=key, **fields).full_clean(validate_unique=False)
            mail, _ = OutboundMail.objects.get_or_create(key=key, defaults=fields)
        enqueue(kind=SEND_MAIL, key=f"{SEND_MAIL}:{key}", arguments={"mail": mail.pk})
    return mail


def send_mail(arguments: dict[str, Any], run: Run) -> None:
    """Send one message, unless its row says that it went out.

    A worker that dies between the server's yes and the row's update sends it again, with the same
    Message-ID, by which the receiving side can drop the second one.
    """
    mail = OutboundMail.objects.get(pk=arguments["mail"])
    if mail.sent_at is not None or not run.is_current():
        return
    message = EmailMessage(
        mail.subject,
        mail.body,
        from_email=_from(mail.sender_name),
        to=[mail.to],
        reply_to=[mail.reply_to] if mail.reply_to else None,
        headers={"Message-ID": mail.message_id},
    )
    if mail.ics:
        message.attach(_calendar_part(mail.ics))
    message.send()
    OutboundMail.objects.filter(pk=mail.pk, sent_at=None).update(
        sent_at=timezone.now(), body=without_links(mail.body)
    )


def without_links(body: str) -> str:
    """The wording of a mail without what its links open."""
    return _LINK_PATH.sub(r"\1…", body)


def _calendar_part(ics: str) -> MIMEText:
    """The calendar file as a part of a mail, which says what is to be done with it."""
    part = MIMEText(ics, "calendar", "utf-8")
    part.set_param("method", method_of(ics))
    part.add_header("Content-Disposition", "attachment", filename="appointment.ics")
    return part


def _from(name: str) -> str:
    """The practice's name before the address that the mail server lets this site send from."""
    own_name, address = parseaddr(settings.DEFAULT_FROM_EMAIL)
    return formataddr((name or own_name, address))
