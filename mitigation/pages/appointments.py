"""What pages show of the appointment of an order: what holds, what waits, what was tried."""

from collections.abc import Collection
from dataclasses import dataclass, field
from datetime import datetime

from consult.models import User
from mitigation.models import ENDS, Appointment, WorkOrder
from mitigation.services.appointment_files import when_words
from mitigation.services.appointments import is_over, times_words

State, Asked = Appointment.State, Appointment.Asked
MOST_EARLIER = 5


@dataclass(frozen=True)
class Proposal:
    """Times that wait for an answer, as somebody sees them."""

    row: Appointment
    times: list[str]
    is_over: bool
    may_answer: bool


@dataclass
class Appointments:
    """The appointments of one order."""

    agreed: Appointment | None = None
    when: str = ""  # of the agreed one
    proposal: Proposal | None = None
    earlier: list[Appointment] = field(default_factory=list)
    may_propose: bool = False
    may_call_off: bool = False


def appointments_of(
    order: WorkOrder, user: User | None, *, now: datetime, token: str = ""
) -> Appointments:
    """The appointments of an order, as the office, its firm or an assessor sees them."""
    role = User.Role.ELECTRICIAN if token else user.role if user is not None else ""
    shown = _shown(list(_rows([order.pk])), role, now)
    is_at_work = order.state in WorkOrder.AT_WORK and order.case.stage not in ENDS
    acts = role in (User.Role.OFFICE, User.Role.ELECTRICIAN) and not token
    shown.may_propose = acts and is_at_work
    shown.may_call_off = acts
    if role != User.Role.OFFICE:
        shown.earlier = []
    return shown


def appointments_by_order(
    orders: Collection[WorkOrder], user: User, now: datetime
) -> dict[int, Appointments]:
    """The appointments of several orders by their key; two queries."""
    rows: dict[int, list[Appointment]] = {order.pk: [] for order in orders}
    for row in _rows(list(rows)):
        rows[row.order_id].append(row)
    return {pk: _shown(of_order, user.role, now) for pk, of_order in rows.items()}


def _rows(orders: Collection[int]) -> list[Appointment]:
    rows = Appointment.objects.filter(order__in=orders).prefetch_related("times")
    return list(rows.order_by("-pk"))


def _shown(rows: list[Appointment], role: str, now: datetime) -> Appointments:
    """Rows of one order, the latest first."""
    shown = Appointments()
    for row in rows:
        if row.state == State.AGREED and row.starts_at and row.ends_at:
            shown.agreed, shown.when = row, when_words(row.starts_at, row.ends_at)
        elif row.state == State.PROPOSED:
            may_answer = may_answer_as(row, role)
            shown.proposal = Proposal(row, times_words(row), is_over(row, now), may_answer)
        elif len(shown.earlier) < MOST_EARLIER:
            shown.earlier.append(row)
    return shown


def may_answer_as(row: Appointment, role: str) -> bool:
    """Whether somebody of a role answers: the side that is asked, or the office in its place."""
    asked = {User.Role.ELECTRICIAN: Asked.FIRM, User.Role.CLIENT: Asked.CLIENT}
    return role == User.Role.OFFICE or asked.get(User.Role(role)) == row.asked if role else False
