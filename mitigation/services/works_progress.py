"""How far the works of cases are, by their accepted items, orders and confirmations."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Exists, F, Max, OuterRef, QuerySet, Subquery

from mitigation.models import (
    Case,
    PlanItem,
    Remedy,
    Stage,
    WorkItem,
    WorkOrder,
    WorkReport,
    WorksConfirmation,
)
from mitigation.models.progress import Fact
from mitigation.models.remedies import PlanItemQuerySet

State = WorkOrder.State
NOT_REPORTED = (State.DRAFT, *WorkOrder.AT_WORK)


@dataclass(frozen=True)
class Works:
    """What there is in the works of one case."""

    case: int
    since: datetime  # the moment of its stage
    waits_for_order: bool
    waits_for_report: bool
    waits_for_office: bool
    waits_for_client: bool
    accepted_at: datetime | None
    confirmed_at: datetime | None

    def facts(self) -> dict[Fact, datetime]:
        """What is done of the works; what nothing was ever ordered for is left to people."""
        if self.waits_for_order:
            return {}
        facts = {Fact.ORDERS_SENT: self.since}
        moments = [at for at in (self.accepted_at, self.confirmed_at) if at and at >= self.since]
        began = bool(moments) or self.waits_for_office or self.waits_for_client
        if self.waits_for_report or not began:
            return facts
        facts[Fact.WORKS_REPORTED] = self.since
        if self.waits_for_office:
            return facts
        facts[Fact.REPORTS_ACCEPTED] = self.since
        if moments and not self.waits_for_client:
            facts[Fact.WORKS_DONE] = max(moments)
        return facts


def clients_own(cases: Collection[int]) -> PlanItemQuerySet:
    """Accepted items that clients do: all that need no electrician and that no firm has."""
    rows = PlanItem.objects.filter(case__in=cases, state=PlanItem.State.ACCEPTED)
    return rows.exclude(remedy__done_by=Remedy.DoneBy.ELECTRICIAN).exclude(is_ordered())


def is_ordered() -> Exists:
    """Whether a live order has an item of a query."""
    return Exists(
        WorkItem.objects.filter(item=OuterRef("pk"), order__in=WorkOrder.objects.live().order_by())
    )


def works_of(cases: Collection[int] | QuerySet[Any]) -> list[Works]:
    """The works of those of the cases that are at them; one query."""
    accepted = PlanItem.objects.filter(case=OuterRef("pk"), state=PlanItem.State.ACCEPTED)
    orders = WorkOrder.objects.filter(case=OuterRef("pk"))
    reports = WorkReport.objects.filter(order__case=OuterRef("pk"), order__state=State.ACCEPTED)
    confirmed = WorksConfirmation.objects.filter(case=OuterRef("pk"))
    rows = Case.objects.filter(pk__in=cases, stage=Stage.WORKS).annotate(
        to_order=Exists(
            accepted.filter(remedy__done_by=Remedy.DoneBy.ELECTRICIAN).exclude(is_ordered())
        ),
        to_report=Exists(orders.filter(state__in=NOT_REPORTED)),
        to_accept=Exists(orders.filter(state=State.REPORTED)),
        of_client=Exists(
            accepted.exclude(remedy__done_by=Remedy.DoneBy.ELECTRICIAN).exclude(is_ordered())
        ),
        accepted_at=_latest(reports, "order__case", "accepted_at"),
        confirmed_at=_latest(confirmed, "case", "confirmed_at"),
        unsent=Exists(orders.filter(state=State.DRAFT)),
    )
    fields = (
        "pk", "stage_since", "to_order", "unsent", "to_report", "to_accept", "of_client",
        "accepted_at", "confirmed_at",
    )  # fmt: skip
    return [
        Works(pk, since, to_order or unsent, *rest)
        for pk, since, to_order, unsent, *rest in rows.values_list(*fields)
    ]


def _latest(rows: QuerySet[Any], of: str, moment: str) -> Subquery:
    grouped = rows.order_by().values(of).annotate(latest=Max(F(moment)))
    return Subquery(grouped.values("latest"))
