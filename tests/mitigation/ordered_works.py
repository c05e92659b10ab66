"""Cases at their works: accepted items, orders of two firms, reports."""

import datetime as dt
from typing import Any

from django.utils import timezone

from consult.models import Firm, User
from mitigation.models import (
    Appointment,
    Case,
    PlanItem,
    Remedy,
    Stage,
    WorkItem,
    WorkOrder,
    WorkReport,
)
from mitigation.services.appointments import propose_times
from mitigation.services.plan_items import add_item
from mitigation.services.work_orders import make_orders, send_order
from mitigation.services.work_reports import keep_result, sign_off
from surveys.models import Room
from surveys.services.circuits import add_circuit
from tests.factories import FirmFactory, UserFactory, compared_case


def case_at_works(*kinds: str, **case_fields: Any) -> Case:
    """A case whose items of `kinds` were accepted; a circuit F3 hangs at its panel."""
    office = UserFactory()
    case = compared_case(**case_fields)
    circuit = add_circuit(
        home=case.property, by=office, name="F3", label="bedroom sockets", rating_a=16.0, rcd="yes"
    )
    room = Room.objects.filter(property=case.property).first()
    for kind in kinds or ("demand-switch", "bonded-shield"):
        remedy = Remedy.objects.get(key=kind)
        given: dict[str, Any] = {"room": room, "cost": 300}
        if remedy.acts_on == Remedy.ActsOn.CIRCUITS:
            given["circuits"] = [circuit]
        if remedy.effect_db is None:
            given |= {"effect_db": 6.0, "spread_db": 3.0}
        add_item(case=case, by=office, remedy=remedy, **given)
    case.items.update(state=PlanItem.State.ACCEPTED)
    Case.objects.filter(pk=case.pk).update(stage=Stage.WORKS, stage_since=timezone.now())
    case.refresh_from_db()
    return case


def firm(**fields: Any) -> Firm:
    """A firm whose licence holds."""
    usual: dict[str, Any] = {
        "email": "orders@wiring.example",
        "licence": "HWK 4711",
        "licence_until": timezone.localdate() + dt.timedelta(days=300),
        "insurance_until": timezone.localdate() + dt.timedelta(days=300),
    }
    return FirmFactory(**usual | fields)


def electrician(of: Firm, **fields: Any) -> User:
    return UserFactory(role=User.Role.ELECTRICIAN, firm=of, **fields)


def sent_order(case: Case, to: Firm | None = None, **given: Any) -> WorkOrder:
    """An order of every item of a case that waits, sent to one firm."""
    office = UserFactory()
    to = to or firm()
    now = timezone.now()
    usual = {"access": "Key at the neighbour's", "contact": "Rosa Lind, 0151 000"}
    [order] = make_orders(
        case=case,
        by=office,
        now=now,
        firm_of={item.pk: to for item in case.items.all()},
        **usual | given,
    )
    return send_order(order=order, by=office, now=now, reason="The renewal is filed.")


def in_days(days: int, hour: int = 9) -> dt.datetime:
    """A moment to come, by the practice's zone."""
    day = timezone.localdate() + dt.timedelta(days=days)
    return timezone.make_aware(dt.datetime.combine(day, dt.time(hour)))


def proposed(
    order: WorkOrder, *moments: dt.datetime, side: str = "office", asked: str = "firm",
    minutes: int = 120, by: User | None = None,
) -> Appointment:  # fmt: skip
    """Times for an order, in a week where none are given; with nobody asked it is agreed."""
    return propose_times(
        order=order, side=side, asked=asked, starts=moments or [in_days(7)], minutes=minutes,
        name="Ines Lund", by=by, now=timezone.now(),
    )  # fmt: skip


def reported(order: WorkOrder, by: User, result: str = "done", words: str = "") -> WorkReport:
    """A signed report in which every item ended so."""
    for row in order.items.all():
        keep(order, row, by, result=result, words=words)
    return signed(order, by)


def signed(order: WorkOrder, by: User) -> WorkReport:
    """The report as it stands, signed by somebody who saw the order as it stands."""
    order.refresh_from_db()
    return sign_off(
        order=order,
        by=by,
        now=timezone.now(),
        name=by.name,
        licence="HWK 4711",
        remark="",
        shown_sha256=order.content_sha256,
    )


def keep(order: WorkOrder, row: WorkItem, by: User, seen: int | None = None, **values: Any) -> Any:
    usual = {"result": "done", "done_on": timezone.localdate(), "words": ""}
    return keep_result(
        order=order,
        work_item=row,
        by=by,
        now=timezone.now(),
        seen=seen,
        values=usual | values,
    )
