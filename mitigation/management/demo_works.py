"""Works of the demo: an order of an accepted plan, with half of its report."""

from collections.abc import Mapping
from datetime import datetime, time, timedelta
from typing import Any

from django.db import transaction
from django.utils import timezone

from consult.models import Firm, User
from mitigation.calc.electrical_tests import KIND_OF
from mitigation.models import Appointment, Case, TestInstrument, WorkItem, WorkOrder, WorkResult
from mitigation.services.appointments import agree_time, propose_times
from mitigation.services.work_orders import (
    items_to_order,
    make_orders,
    see_order,
    send_order,
    take_order,
)
from mitigation.services.work_reports import add_value, keep_result

MORNING = time(9, 30)


@transaction.atomic
def order_works(case: Case, given: Mapping[str, Any], by: User, now: datetime) -> WorkOrder | None:
    """Order what was accepted in a demo case, and report half of it; None where it is ordered."""
    if case.orders.exists():
        return None
    firm = Firm.objects.get(name=given["firm"])
    today = timezone.localdate(now)
    [order] = make_orders(
        case=case,
        by=by,
        now=now,
        firm_of={item.pk: firm for item in items_to_order(case)},
        due_on=today + timedelta(days=given["due_in_days"]),
        **{name: given[name] for name in ("access", "contact", "wished_days", "words")},
    )
    send_order(order=order, by=by, now=now)
    electrician = User.objects.get(email=given["electrician"])
    see_order(order=order, now=now)
    take_order(order=order, name=electrician.name, by=electrician, now=now)
    _agree_on_day(order, given, by, electrician, now)
    order.refresh_from_db()
    _report_half(order, given, electrician, now)
    return order


def _agree_on_day(
    order: WorkOrder, given: Mapping[str, Any], by: User, electrician: User, now: datetime
) -> None:
    """The office proposes two days of next week, and the firm takes the first."""
    today = timezone.localdate(now)
    monday = today + timedelta(days=7 - today.weekday())
    days = [monday + timedelta(days=weekday) for weekday in given["weekdays"]]
    starts = [timezone.make_aware(datetime.combine(day, MORNING)) for day in days]
    appointment = propose_times(
        order=order, side=Appointment.Side.OFFICE, asked=Appointment.Asked.FIRM, starts=starts,
        minutes=given["minutes"], name=by.name, by=by, now=now,
    )  # fmt: skip
    agree_time(
        appointment=appointment, starts_at=starts[0], name=electrician.name, by=electrician, now=now
    )


def _report_half(
    order: WorkOrder, given: Mapping[str, Any], electrician: User, now: datetime
) -> None:
    """One item is done, with its test values; the others are still to come."""
    done = given["done"]
    row = WorkItem.objects.get(order=order, item__name=done["item"])
    keep_result(
        order=order,
        work_item=row,
        by=electrician,
        now=now,
        seen=None,
        values={"result": WorkResult.Result.DONE, "done_on": timezone.localdate(now), "words": ""},
    )
    instrument, _is_new = TestInstrument.objects.get_or_create(
        firm=order.firm,
        name=given["instrument"],
        defaults={"calibrated_until": timezone.localdate(now) + timedelta(days=200)},
    )
    for test, value, about in done["tests"]:
        is_number = bool(KIND_OF[test].unit)
        add_value(
            order=order,
            work_item=row,
            by=electrician,
            now=now,
            test=test,
            about=about,
            value=float(value) if is_number else None,
            passed=None if is_number else True,
            instrument=instrument,
        )
