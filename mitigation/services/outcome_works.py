"""What an outcome letter tells of the works of a case, gathered from its rows."""

from decimal import Decimal

from consult.models import current_practice
from mitigation.comparison import Comparison
from mitigation.letters.outcome_works import (
    CostFacts,
    DoneItemFacts,
    PromiseFacts,
    WorksFacts,
)
from mitigation.letters.remedy_words import place_words
from mitigation.models import Case, Decision, PlanItem, WorkOrder, WorkReport, WorkResult
from mitigation.planning.evidence import promises_of
from mitigation.services.report_sheets import report_sheet
from surveys.models import Measurand


def works_facts(comparison: Comparison) -> WorksFacts:
    """The works of a case with what was promised of them, as a comparison holds it."""
    case = comparison.case
    items = list(case.items.all().settled().whole())
    if not items:
        return WorksFacts()
    words = accepted_words(case)
    return WorksFacts(
        items=tuple(_done(item, words.get(item.pk, "")) for item in items),
        promises=tuple(_promises(comparison)),
        cost=_cost(case, items),
        reports=tuple(report_sheet(report) for report in _accepted_reports(case)),
    )


def accepted_words(case: Case) -> dict[int, str]:
    """What the latest accepted report says of each item, by its key."""
    reports = WorkReport.objects.filter(order__case=case).exclude(accepted_at=None)
    results = WorkResult.objects.filter(report__in=reports.order_by())
    rows = results.order_by("report__number").values_list("work_item__item", "words")
    return dict(rows)


def where_words(item: PlanItem) -> str:
    """The sources that an item names, and its room with its spots."""
    room = item.room.name if item.room else ""
    place = place_words(room, [spot.name for spot in item.spots.all()])
    return "; ".join(filter(None, [", ".join(item.source_words()), place]))


def _done(item: PlanItem, words: str) -> DoneItemFacts:
    return DoneItemFacts(
        name=item.name,
        kind=item.remedy.name,
        where=where_words(item),
        result=item.state,
        done_on=item.done_on,
        done_by=item.done_by,
        words=words,
    )


def _promises(comparison: Comparison) -> list[PromiseFacts]:
    return [
        PromiseFacts(
            room=row.prediction.spot.room.name,
            spot=row.prediction.spot.name,
            measurand=row.prediction.measurand,
            unit=Measurand(row.prediction.measurand).unit,
            low=row.prediction.low or 0.0,
            high=row.prediction.high or 0.0,
            probability=row.probability,
            after=row.after,
            is_inside=row.inside,
            is_met=row.met,
        )
        for row in promises_of(comparison)
    ]


def _accepted_reports(case: Case) -> list[WorkReport]:
    """The latest accepted report of each order."""
    rows = WorkReport.objects.filter(order__case=case, order__state=WorkOrder.State.ACCEPTED)
    rows = rows.exclude(accepted_at=None).select_related("order__firm", "order__case__property")
    latest = {report.order_id: report for report in rows.order_by("number")}
    return [latest[order] for order in sorted(latest)]


def _cost(case: Case, items: list[PlanItem]) -> CostFacts | None:
    """Against the prices of the accepted plan, which are frozen; None where none was accepted."""
    decision = (
        Decision.objects.filter(plan__case=case, answer=Decision.Answer.ACCEPTED)
        .select_related("plan")
        .order_by("-plan__number")
        .first()
    )
    if decision is None or decision.plan.is_erased:
        return None
    offered = {
        item["name"]: float(item["cost"] or 0.0)
        for item in decision.plan.items_of(decision.option)
        if item["name"] in decision.items
    }
    done = {item.name for item in items if item.state != PlanItem.State.NOT_POSSIBLE}
    charged: list[Decimal | None] = list(
        case.orders.filter(state=WorkOrder.State.ACCEPTED).values_list("charged", flat=True)
    )
    known = [amount for amount in charged if amount is not None]
    return CostFacts(
        offered=sum(offered.values()),
        offered_of_done=sum(cost for name, cost in offered.items() if name in done),
        not_done=tuple(name for name in offered if name not in done),
        charged=float(sum(known)) if known and len(known) == len(charged) else None,
        currency=decision.plan.content.get("currency") or current_practice().currency,
    )
