"""The calendar: visits of assessors and appointments of firms, by week and as a list."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.urls import reverse
from django.utils import timezone
from django.utils.dateparse import parse_date
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from consult.access import SignedInRequest
from consult.models import Firm, User
from mitigation.models import Appointment
from mitigation.services.calendar_feeds import visits_of
from mitigation.services.cases import start_of
from surveys.models import Visit
from surveys.services.assessors import active_assessors

WEEK_DAYS, LIST_DAYS = 7, 28
MOST_IN_WEEK = 100
PER_PAGE = 50
FAR = timedelta(days=20 * 366)


@dataclass(frozen=True)
class CalendarEntry:
    """A visit or an appointment, as the calendar shows it."""

    day: date
    starts_at: datetime | None  # a visit is on a day
    hours: str
    what: str
    url: str
    case: str
    client: str
    place: str
    who: str
    is_firm: bool

    @property
    def order(self) -> tuple[date, bool, float, str]:
        """What a calendar is sorted by: whole days before hours."""
        at = self.starts_at.timestamp() if self.starts_at else 0.0
        return self.day, self.starts_at is not None, at, self.url


@dataclass(frozen=True)
class Wanted:
    """Which days of a calendar somebody asks for, and whose."""

    user: User
    first: date
    n_days: int
    who: str  # such as person-3 or firm-5, people, firms; empty: everybody

    @property
    def last(self) -> date:
        return self.first + timedelta(days=self.n_days - 1)

    def pk(self, kind: str) -> int | None:
        """The key of the person or firm that is asked for."""
        name, _dash, number = self.who.partition("-")
        return int(number) if name == kind and number.isdecimal() and len(number) < 10 else None

    @property
    def is_firm(self) -> bool:
        return self.user.role == User.Role.ELECTRICIAN


@dataclass(frozen=True)
class CalendarPage:
    """As many rows of the list as a page has; nobody waits for their number."""

    entries: Sequence[CalendarEntry]
    number: int
    has_next: bool

    @property
    def number_before(self) -> int:
        return self.number - 1

    @property
    def number_after(self) -> int:
        return self.number + 1


def wanted_days(request: SignedInRequest, n_days: int) -> Wanted:
    """The days that a request asks for, from the Monday of the day that it names."""
    today = timezone.localdate()
    try:
        day = parse_date(request.GET.get("day", "")) or today
    except ValueError:  # such as 31 February
        day = today
    if abs(day - today) > FAR:
        day = today
    first = day - timedelta(days=day.weekday())
    return Wanted(request.user, first, n_days, request.GET.get("who", ""))


def entries_of(wanted: Wanted, most: int | None = None) -> list[CalendarEntry]:
    """What is in these days, sorted; at most `most` of them. A fixed number of queries."""
    entries = [*_visits(wanted, most), *_appointments(wanted, most)]
    return sorted(entries, key=lambda entry: entry.order)[:most]


def _visits(wanted: Wanted, most: int | None) -> Iterable[CalendarEntry]:
    if wanted.is_firm or wanted.pk("firm") is not None or wanted.who == "firms":
        return []
    rows = visits_of(wanted.user).filter(date__gte=wanted.first, date__lte=wanted.last)
    if (person := wanted.pk("person")) is not None:
        rows = rows.filter(measured_by=person)
    return [_of_visit(visit) for visit in rows.order_by("date", "pk")[:most]]


def _of_visit(visit: Visit) -> CalendarEntry:
    return CalendarEntry(
        day=visit.date,
        starts_at=None,
        hours="",
        what=_("Visit (%(kind)s)") % {"kind": visit.get_kind_display()},
        url=reverse("visit_detail", args=[visit.pk]),
        case=", ".join(case.reference for case in visit.cases.all()),
        client=visit.property.client.name,
        place=str(visit.property),
        who=visit.measured_by.name if visit.measured_by else visit.assessor,
        is_firm=False,
    )


def _appointments(wanted: Wanted, most: int | None) -> Iterable[CalendarEntry]:
    if wanted.pk("person") is not None or wanted.who == "people":
        return []
    after = start_of(wanted.last + timedelta(days=1))
    rows = Appointment.objects.visible_to(wanted.user).agreed().for_list()
    rows = rows.filter(starts_at__gte=start_of(wanted.first), starts_at__lt=after)
    if (firm := wanted.pk("firm")) is not None:
        rows = rows.filter(order__firm=firm)
    return [
        _of_appointment(row, is_firm=wanted.is_firm)
        for row in rows.order_by("starts_at", "pk")[:most]
    ]


def _of_appointment(row: Appointment, *, is_firm: bool) -> CalendarEntry:
    order, starts, ends = row.order, row.starts_at, row.ends_at
    assert starts is not None and ends is not None
    starts, ends = timezone.localtime(starts), timezone.localtime(ends)
    hours = _("%(from)s to %(to)s") % {
        "from": date_format(starts, "TIME_FORMAT"),
        "to": date_format(ends, "TIME_FORMAT"),
    }
    return CalendarEntry(
        day=starts.date(),
        starts_at=starts,
        hours=hours,
        what=_("Order %(number)s") % {"number": order.number},
        url=reverse("work_order", args=[order.pk]),
        case=order.case.reference,
        client="" if is_firm else order.case.property.client.name,
        place=str(order.case.property),
        who=order.firm.name,
        is_firm=True,
    )


# -- The pages ------------------------------------------------------------------------------------


def week_context(wanted: Wanted) -> dict[str, Any]:
    """A row for each person and firm, a column for each day."""
    entries = entries_of(wanted, MOST_IN_WEEK + 1)
    days = [wanted.first + timedelta(days=at) for at in range(WEEK_DAYS)]
    rows: dict[tuple[bool, str], dict[date, list[CalendarEntry]]] = defaultdict(dict)
    for entry in entries[:MOST_IN_WEEK]:
        rows[entry.is_firm, entry.who].setdefault(entry.day, []).append(entry)
    return _context(wanted) | {
        "days": days,
        "rows": [
            (who or _("somebody"), [(day, of_who.get(day, [])) for day in days])
            for (_is_firm, who), of_who in sorted(rows.items(), key=lambda row: row[0])
        ],
        "most": MOST_IN_WEEK if len(entries) > MOST_IN_WEEK else None,
    }


def list_context(wanted: Wanted, page: str) -> dict[str, Any]:
    """Four weeks, a row for each entry."""
    number = min(max(int(page), 1), 1_000) if page.isdecimal() and len(page) < 5 else 1
    entries = entries_of(wanted, number * PER_PAGE + 1)
    here = entries[(number - 1) * PER_PAGE : number * PER_PAGE]
    has_next = len(entries) > number * PER_PAGE
    return _context(wanted) | {"page": CalendarPage(here, number, has_next)}


def _context(wanted: Wanted) -> dict[str, Any]:
    step = timedelta(days=wanted.n_days)
    return {
        "first": wanted.first,
        "last": wanted.last,
        "before": (wanted.first - step).isoformat(),
        "after": (wanted.first + step).isoformat(),
        "today": timezone.localdate(),
        "who": wanted.who,
        **(_nobody() if wanted.is_firm else _everybody()),
    }


def _nobody() -> dict[str, list[tuple[str, str]]]:
    """A firm has its own calendar alone."""
    return {"people": [], "firms": []}


def _everybody() -> dict[str, list[tuple[str, str]]]:
    """Whose calendar can be asked for."""
    people = active_assessors().order_by("name", "pk").values_list("pk", "name")
    firms = Firm.objects.order_by("name").values_list("pk", "name")
    return {
        "people": [(f"person-{pk}", name) for pk, name in people],
        "firms": [(f"firm-{pk}", name) for pk, name in firms],
    }
