"""Orders as lists: for the office by what needs somebody, for a firm by its day."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import Exists, OuterRef, Q, QuerySet
from django.utils import timezone
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from consult.access import SignedInRequest
from consult.models import User
from mitigation.models import WorkOrder, WorkReport

State = WorkOrder.State
RECENT = timedelta(days=90)


@dataclass(frozen=True)
class Which:
    """A part of the list: its name in an address, and its words."""

    name: str
    words: str | Promise


WHICH = (
    Which("", _("all")),
    Which("unseen", _("not opened yet")),
    Which("late", _("late")),
    Which("refused", _("refused")),
    Which("reported", _("to be looked at")),
)


def wanted_orders(request: SignedInRequest) -> QuerySet[WorkOrder]:
    """The orders that a list or its spreadsheet is asked for, latest first."""
    rows = WorkOrder.objects.visible_to(request.user).for_list().order_by("-made_at", "-pk")
    filters = filters_of(timezone.localdate())
    return rows.filter(filters.get(request.GET.get("which", ""), Q()))


def filters_of(today: date) -> dict[str, Q]:
    """What each part of the list asks for, by its name."""
    return {
        "unseen": Q(state=State.SENT, seen_at=None),
        "late": Q(state__in=WorkOrder.AT_WORK, due_on__lt=today),
        "refused": Q(state=State.REFUSED),
        "reported": Q(state=State.REPORTED),
    }


def with_lateness(orders: list[WorkOrder], today: date) -> list[tuple[WorkOrder, bool]]:
    """Each with whether it is late."""
    return [(order, order.is_late(today)) for order in orders]


def orders_of_firm(user: User, now: datetime) -> dict[str, list[tuple[WorkOrder, bool]]]:
    """A firm's orders: today, to do, with the office, and what is done."""
    today = timezone.localdate(now)
    rows = WorkOrder.objects.visible_to(user).for_list().order_by("due_on", "pk")
    lately = WorkReport.objects.filter(order=OuterRef("pk"), accepted_at__gte=now - RECENT)
    recent = rows.exclude(state__in=[State.REFUSED, State.CALLED_OFF]).filter(
        ~Q(state=State.ACCEPTED) | Exists(lately)
    )
    groups: dict[str, list[tuple[WorkOrder, bool]]] = {
        "today": [], "to_do": [], "with_office": [], "done": []
    }  # fmt: skip
    for order in recent:
        groups[_group(order, today)].append((order, order.is_late(today)))
    return groups


def _group(order: WorkOrder, today: date) -> str:
    if order.state == State.ACCEPTED:
        return "done"
    if order.state == State.REPORTED:
        return "with_office"
    day = timezone.localtime(order.agreed_at).date() if order.agreed_at else None
    return "today" if day == today else "to_do"
