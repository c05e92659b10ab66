"""Calendar files: what RFC 5545 asks of them, read back by a parser; and mails that carry one."""

import datetime as dt
from typing import Any

import pytest
from django.core import mail as outbox
from icalendar import Calendar

from consult.models import Job, OutboundMail, Practice
from consult.services.calendar_files import Entry, calendar_file, method_of
from consult.services.mail import queue_mail
from consult.tasks import run_job

pytestmark = pytest.mark.django_db
BERLIN = dt.timezone(dt.timedelta(hours=1))
ENTRY = Entry(
    uid="order-7@ebbmark",
    sequence=2,
    stamped_at=dt.datetime(2026, 11, 29, 10, 0, 5, 999, tzinfo=dt.UTC),
    starts=dt.datetime(2026, 12, 1, 9, 30, tzinfo=BERLIN),
    ends=dt.datetime(2026, 12, 1, 11, 30, tzinfo=BERLIN),
    summary="Ölmüller, Söhne; Anlagen",
    description="Ring twice,\nthen wait; " + "müde " * 40,
    location="Kai 4\n24103 Kiel",
    attendee="wiring@example.org",
)


def event_of(text: str) -> Any:
    [event] = Calendar.from_ical(text).walk("VEVENT")
    return event


def test_what_is_written_is_read_back() -> None:
    named = {"name": "Ebb; Flow", "email": "office@ebb.example"}
    Practice.objects.update_or_create(pk=1, defaults=named)
    text = calendar_file([ENTRY], method="REQUEST")
    calendar, event = Calendar.from_ical(text), event_of(text)
    assert (calendar["METHOD"], calendar["VERSION"]) == ("REQUEST", "2.0")
    assert (str(event["UID"]), int(event["SEQUENCE"])) == ("order-7@ebbmark", 2)
    assert event.decoded("DTSTART") == dt.datetime(2026, 12, 1, 8, 30, tzinfo=dt.UTC)
    assert event.decoded("DTEND") == ENTRY.ends
    assert (str(event["SUMMARY"]), str(event["LOCATION"])) == (ENTRY.summary, ENTRY.location)
    assert str(event["DESCRIPTION"]) == ENTRY.description
    assert str(event["ORGANIZER"]) == "mailto:office@ebb.example"
    assert event["ORGANIZER"].params["CN"] == "Ebb; Flow"
    assert event["ATTENDEE"].params["PARTSTAT"] == "ACCEPTED"


def test_moments_are_in_utc_and_come_from_the_row() -> None:
    text = calendar_file([ENTRY], method="PUBLISH")
    assert "DTSTART:20261201T083000Z\r\n" in text and "DTEND:20261201T103000Z\r\n" in text
    assert "DTSTAMP:20261129T100005Z\r\n" in text
    assert text == calendar_file([ENTRY], method="PUBLISH")


def test_lines_are_folded_to_75_octets_and_end_as_the_standard_has_it() -> None:
    lines = calendar_file([ENTRY], method="PUBLISH").encode().split(b"\r\n")
    assert lines[-1] == b"" and max(map(len, lines)) <= 75
    assert any(line.startswith(b" ") for line in lines)
    assert not any(b"\n" in line or b"\r" in line for line in lines)


def test_whole_days_are_days_and_what_is_cancelled_says_so() -> None:
    days = Entry(**{
        **vars(ENTRY), "starts": dt.date(2026, 12, 1), "ends": dt.date(2026, 12, 2),
        "is_cancelled": True,
    })  # fmt: skip
    text = calendar_file([days], method="CANCEL")
    assert "DTSTART;VALUE=DATE:20261201\r\n" in text and "STATUS:CANCELLED\r\n" in text
    assert method_of(text) == "CANCEL"


def test_a_file_without_the_practices_e_mail_names_the_address_of_the_site(settings) -> None:
    settings.DEFAULT_FROM_EMAIL = "Ebbmark <site@ebb.example>"
    event = event_of(calendar_file([ENTRY], method="PUBLISH"))
    assert str(event["ORGANIZER"]) == "mailto:site@ebb.example"


def test_a_mail_carries_its_calendar_file_and_says_what_it_is() -> None:
    text = calendar_file([ENTRY], method="REQUEST")
    mail = queue_mail(
        key="a", to="wiring@example.org", subject="Day", body="It is agreed.", ics=text
    )
    assert run_job(Job.objects.get(key="send-mail:a").pk)
    [message] = outbox.outbox
    parts: list[Any] = [part for part in message.message().walk() if part.get_filename()]
    [part] = parts
    assert part.get_content_type() == "text/calendar" and part.get_param("method") == "REQUEST"
    assert part.get_filename() == "appointment.ics"
    assert part.get_payload(decode=True).decode() == text
    assert OutboundMail.objects.get(pk=mail.pk).sent_at is not None


def test_a_mail_without_a_file_is_one_part() -> None:
    queue_mail(key="b", to="wiring@example.org", subject="Day", body="It is agreed.")
    assert run_job(Job.objects.get(key="send-mail:b").pk)
    assert not outbox.outbox[0].message().is_multipart()
