"""The private calendar feed of a person: its address, made and withdrawn, and what it holds."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from django.conf import settings
from django.core import signing
from django.core.exceptions import ValidationError
from django.db.models import OuterRef, QuerySet, Subquery
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from consult.models import User
from consult.services.calendar_files import Entry, calendar_file
from consult.services.mail import name_of_practice
from mitigation.models import Appointment, CalendarFeed
from mitigation.services.appointment_files import entry_of
from mitigation.services.cases import start_of
from surveys.models import Visit

FEED = "mitigation.calendar-feed"
DAYS_BACK, DAYS_AHEAD = timedelta(days=28), timedelta(days=366)
MOST = 1_000


def make_feed(*, user: User, now: datetime) -> CalendarFeed:
    """Give a person their feed; a second click gives the same one."""
    feed, _is_new = CalendarFeed.objects.get_or_create(user=user, defaults={"made_at": now})
    return feed


def withdraw_feed(*, user: User) -> None:
    """Have the address of a person's feed show nothing any more."""
    CalendarFeed.objects.filter(user=user).delete()


def feed_address(feed: CalendarFeed) -> str:
    """The address, signed, so that nobody makes one from what stands in the database."""
    token = signing.dumps(feed.uid.hex, salt=FEED)
    return settings.SITE_URL.rstrip("/") + reverse("calendar_feed", args=[token])


def user_of_token(token: str) -> User | None:
    """Whose feed an address is; None when it is withdrawn, not ours, or its person is inactive."""
    try:
        uid = UUID(signing.loads(token, salt=FEED))
    except (signing.BadSignature, ValueError, TypeError, AttributeError, ValidationError):
        return None
    feeds = CalendarFeed.objects.select_related("user").filter(uid=uid, user__is_active=True)
    feed = feeds.first()
    return feed.user if feed else None


def feed_file(user: User, now: datetime) -> str:
    """What a person may see of four weeks back to a year ahead; a fixed number of queries."""
    entries = [*_appointments(user, now), *_visits(user, now)]
    name = f"{name_of_practice()}: {user.name}"
    return calendar_file(entries, method="PUBLISH", name=name)


def _appointments(user: User, now: datetime) -> Iterator[Entry]:
    today = timezone.localdate(now)
    rows = Appointment.objects.visible_to(user).agreed().for_list()
    rows = rows.filter(
        starts_at__gte=start_of(today - DAYS_BACK), starts_at__lt=start_of(today + DAYS_AHEAD)
    )
    for row in rows.order_by("starts_at", "pk")[:MOST]:
        yield entry_of(row, is_client=user.role == User.Role.CLIENT)


def _visits(user: User, now: datetime) -> Iterator[Entry]:
    today = timezone.localdate(now)
    rows = visits_of(user).filter(date__gte=today - DAYS_BACK, date__lte=today + DAYS_AHEAD)
    changes = Visit.history.filter(id=OuterRef("pk")).order_by("-history_id")
    rows = rows.annotate(
        version=Subquery(changes.values("history_id")[:1]),
        changed_at=Subquery(changes.values("history_date")[:1]),
    )
    for visit in rows.order_by("date", "pk")[:MOST]:
        yield _entry_of_visit(visit, is_client=user.role == User.Role.CLIENT)


def _entry_of_visit(visit: Any, *, is_client: bool) -> Entry:
    summary = _("Visit (%(kind)s)") % {"kind": visit.get_kind_display()}
    return Entry(
        uid=f"visit-{visit.uid}@ebbmark",
        sequence=visit.version or 0,
        stamped_at=visit.changed_at or start_of(visit.date),
        starts=visit.date,
        ends=visit.date + timedelta(days=1),
        summary=summary if is_client else f"{summary}, {visit.property.client.name}",
        description=", ".join(case.reference for case in visit.cases.all()),
        location="" if is_client else str(visit.property),
    )


def visits_of(user: User) -> QuerySet[Visit]:
    """Visits that somebody may see in a calendar: a client those in their homes."""
    rows = Visit.objects.visible_to(user)
    if user.role == User.Role.CLIENT and user.is_active:
        rows = Visit.objects.filter(property__client__user=user)
    return rows.select_related("property__client", "measured_by").prefetch_related("cases")
