"""What people leave behind them: mails, jobs, log-ins, sessions, the log of the admin.

These tables come after those of every app, because some point at any row.
"""

from collections.abc import Iterable
from typing import Any

from allauth.usersessions.models import UserSession
from django.contrib.admin.models import LogEntry
from django.contrib.contenttypes.models import ContentType
from django.contrib.sessions.models import Session
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from consult.models.access_log import AccessEvent
from consult.models.jobs import Job, OutboundMail
from consult.services.jobs import ADDRESS, named_rows
from consult.services.mail import without_links
from consult.services.privacy.fates import (
    Blank,
    Clearing,
    Keep,
    Keys,
    Part,
    Subject,
    Table,
    fields,
    nobodys,
)
from consult.services.privacy.practice import OPENS

LOG = _("until the access log's own time is over: when, and the number of the log-in")


def _mails(subject: Subject, keys: Keys) -> Iterable[Any]:
    """Those for them or about one of their letters; a mail is nobody's by its address alone."""
    theirs = (
        Q(client__in=keys["consult.Client"])
        | Q(user__in=keys["consult.User"])
        | Q(letter__in=keys["consult.Letter"])
    )
    return OutboundMail.objects.filter(theirs).values_list("pk", flat=True)


def _jobs(subject: Subject, keys: Keys) -> Iterable[Any]:
    """Those whose arguments name one of their rows or addresses, as the kinds of jobs declare."""
    wanted: set[tuple[str, Any]] = set()
    for word, what in named_rows().items():
        theirs = subject.emails if what == ADDRESS else keys.get(what or "", ())
        wanted |= {(word, each) for each in theirs}
    if not wanted:
        return []
    about = Q(pk__in=[])
    for word in {word for word, _pk in wanted}:
        about |= Q(arguments__has_key=word)
    rows = Job.objects.filter(about).values_list("pk", "arguments").iterator(chunk_size=2_000)
    wanted = {_comparable(*pair) for pair in wanted}
    return {
        pk
        for pk, arguments in rows
        if any(_comparable(*pair) in wanted for pair in arguments.items())
    }


def _comparable(word: str, value: Any) -> tuple[str, int | str | None]:
    """Something that can lie in a set; an address is the same in capitals."""
    if isinstance(value, str):
        return word, value.casefold()
    return word, value if isinstance(value, int) else None


def _events(subject: Subject, keys: Keys) -> Iterable[Any]:
    """What they did, what was done to them, and their address typed at a refused log-in."""
    theirs = Q(user__in=subject.users) | Q(about__in=subject.users)
    for address in subject.emails:
        theirs |= Q(what__icontains=address)
    return AccessEvent.objects.filter(theirs).values_list("pk", flat=True)


def _sessions(subject: Subject, keys: Keys) -> Iterable[Any]:
    """Sessions of their devices, and every other session whose data names the person."""
    devices = UserSession.objects.filter(pk__in=keys["usersessions.UserSession"])
    yield from devices.values_list("session_key", flat=True)
    if not subject.users:
        return
    users = {str(pk) for pk in subject.users}
    for session in Session.objects.iterator(chunk_size=500):
        if session.get_decoded().get("_auth_user_id") in users:
            yield session.pk


def _log_entries(subject: Subject, keys: Keys) -> Iterable[Any]:
    """Entries of the admin's log about any of their rows; they name the row."""
    kinds = {f"{kind.app_label}.{kind.model}": kind.pk for kind in ContentType.objects.all()}
    for model, pks in keys.items():
        entries = LogEntry.objects.filter(content_type=kinds.get(model.lower()))
        wanted = {str(pk) for pk in pks}
        for entry, pk in entries.values_list("pk", "object_id") if wanted else ():
            if pk in wanted:
                yield entry


TABLES = [
    Table(
        "consult.OutboundMail",
        _("e-mails"),
        fields(
            goes="id key client user letter to subject body ics sender_name reply_to message_id "
            "created_at sent_at withdrawn_at"
        ),
        client=_mails,
        user=_mails,
        shortened={"body": without_links},
    ),
    Table(
        "consult.Job",
        _("jobs"),
        fields(
            goes="id kind key arguments state attempts run_after lease_until progress_percent "
            "last_error created_at finished_at"
        ),
        client=_jobs,
        user=_jobs,
    ),
    Table(
        "consult.AccessEvent",
        _("log of log-ins and refusals"),
        fields(
            plain="id",
            at=Keep(LOG),
            kind=Keep(LOG),
            user=Keep(LOG),
            about=Keep(LOG),
            what=Blank(),
            address=Blank(None),
        ),
        client=_events,
        user=_events,
        without=_("what was typed or changed, and the network address"),
    ),
    Table(
        "account.EmailAddress",
        _("addresses of the log-in"),
        fields(goes="id user email verified primary"),
        user="user",
    ),
    Table(
        "account.EmailConfirmation",
        _("confirmations of addresses"),
        fields(goes="id email_address created sent key"),
        user="email_address",
        withheld={"key": OPENS},
    ),
    Table(
        "mfa.Authenticator",
        _("second factors"),
        fields(goes="id user type data created_at last_used_at"),
        user="user",
        withheld={"data": OPENS},
    ),
    Table(
        "usersessions.UserSession",
        _("devices in use"),
        fields(goes="id user created_at ip last_seen_at session_key user_agent data"),
        user="user",
        withheld={"session_key": OPENS},
    ),
    Table(
        "sessions.Session",
        _("sessions"),
        fields(goes="session_key session_data expire_date"),
        user=_sessions,
        withheld={"session_key": OPENS, "session_data": OPENS},
    ),
    Table(
        "admin.LogEntry",
        _("log of the admin"),
        fields(
            plain="id action_time user content_type object_id action_flag",
            object_repr=Blank("[erased]"),
            change_message=Blank(),
        ),
        without=_("the name of what was changed, and how"),
        client=_log_entries,
        user=_log_entries,
    ),
    nobodys("auth.Permission", _("permissions"), "id name content_type codename"),
    nobodys("auth.Group", _("groups"), "id name"),
    nobodys("auth.Group_permissions", _("permissions of groups"), "id group permission"),
    nobodys("contenttypes.ContentType", _("kinds of rows"), "id app_label model"),
]

PART = Part(
    TABLES,
    clearings=[
        Clearing(
            kind="sessions",
            label=_("sessions that have ended"),
            model="sessions.Session",
            date="expire_date",
            days=0,
        ),
        Clearing(
            kind="devices",
            label=_("devices in use, by their last visit"),
            model="usersessions.UserSession",
            date="last_seen_at",
            days="access_log_days",
        ),
        Clearing(
            kind="mails",
            label=_("wording of sent e-mails"),
            model="consult.OutboundMail",
            date="sent_at",
            days="mail_days",
            only=~Q(body=""),
            blank={"body": "", "ics": ""},
        ),
        Clearing(
            kind="jobs",
            label=_("finished jobs"),
            model="consult.Job",
            date="finished_at",
            days="job_days",
            only=Q(state=Job.State.DONE),
        ),
        Clearing(
            kind="access-log",
            label=_("log of log-ins and refusals"),
            model="consult.AccessEvent",
            date="at",
            days="access_log_days",
        ),
    ],
)
