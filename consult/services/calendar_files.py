"""Calendar files as RFC 5545 has them: the same entries give the same bytes.

Moments are written in UTC, so that no reader needs a table of time zones of ours.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime
from email.utils import parseaddr
from typing import Literal

from django.conf import settings
from icalendar import Calendar, Event, vCalAddress, vText

from consult.models import current_practice

Method = Literal["PUBLISH", "REQUEST", "CANCEL"]
KIND = "text/calendar"
PRODUCT = "-//Ebbmark//Calendar//EN"


@dataclass(frozen=True)
class Entry:
    """One entry of a calendar; with days in the place of moments it is for whole days."""

    uid: str  # the same for as long as it is the same appointment
    sequence: int  # rises with each change
    stamped_at: datetime  # when its row changed last, and never now
    starts: datetime | date
    ends: datetime | date  # a day here is the first that it does not last
    summary: str
    description: str = ""
    location: str = ""
    attendee: str = ""  # the e-mail of whom it is sent to
    is_cancelled: bool = False


def calendar_file(entries: Iterable[Entry], *, method: Method, name: str = "") -> str:
    """The text of a calendar file in the practice's name, its lines folded."""
    practice = current_practice()
    organizer = vCalAddress(f"mailto:{practice.email or _own_address()}")
    if practice.name:
        organizer.params["cn"] = vText(practice.name)
    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("method", method)
    if name:
        calendar.add("x-wr-calname", name)
    for entry in entries:
        calendar.add_component(_event(entry, organizer))
    text: bytes = calendar.to_ical()
    return text.decode()


def method_of(text: str) -> str:
    """What the reader of a calendar file is to do with it."""
    lines = text.splitlines()
    return next((line[7:] for line in lines if line.startswith("METHOD:")), "PUBLISH")


def _event(entry: Entry, organizer: vCalAddress) -> Event:
    event = Event()
    event.add("uid", entry.uid)
    event.add("sequence", entry.sequence)
    event.add("dtstamp", _in_utc(entry.stamped_at))
    event.add("dtstart", _in_utc(entry.starts))
    event.add("dtend", _in_utc(entry.ends))
    event.add("summary", entry.summary)
    event.add("status", "CANCELLED" if entry.is_cancelled else "CONFIRMED")
    event.add("organizer", organizer)
    if entry.description:
        event.add("description", entry.description)
    if entry.location:
        event.add("location", entry.location)
    if entry.attendee:
        attendee = vCalAddress(f"mailto:{entry.attendee}")
        # It was agreed before: nobody is asked by their calendar.
        attendee.params["partstat"] = vText("ACCEPTED")
        attendee.params["rsvp"] = vText("FALSE")
        event.add("attendee", attendee)
    return event


def _in_utc(at: datetime | date) -> datetime | date:
    return at.astimezone(UTC).replace(microsecond=0) if isinstance(at, datetime) else at


def _own_address() -> str:
    """The address that this site writes from, where the practice has given none."""
    return parseaddr(settings.DEFAULT_FROM_EMAIL)[1]
