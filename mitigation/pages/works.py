"""What the page of a case's works shows: what was done where, and what follows for measuring."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Count, Q, QuerySet
from django.utils import timezone
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from consult.letters.formats import places
from consult.models import User
from mitigation.comparison.works import spots_served
from mitigation.letters.remedy_words import remedy_name
from mitigation.models import Case, PlanItem, WorkOrder, WorkReport, WorkResult
from mitigation.pages.order_lists import with_lateness
from mitigation.services.work_orders import items_to_order
from mitigation.services.works_progress import clients_own

DONE = (PlanItem.State.DONE, PlanItem.State.DONE_DIFFERENTLY)
SETTLED = (*DONE, PlanItem.State.NOT_POSSIBLE)
# In which state the house has to be when it is measured again, by the kind of remedy.
HOUSE_STATE: dict[str, str | Promise] = {
    "demand-switch": _(
        "Demand switch of %(what)s asleep: unplug or switch off what keeps it awake, and see that "
        "it is off."
    ),
    "unplugged-appliance": _("%(what)s unplugged, as at the baseline's place."),
    "moved-appliance": _("%(what)s at its new place."),
    "moved-bed": _("Measure where the bed stands now."),
    "shielded-surface": _("Shield of %(what)s in place and bonded, its protection tested."),
    "bonded-shield": _("Shield of %(what)s in place and bonded."),
}


@dataclass(frozen=True)
class DoneWork:
    """An item that was carried out, or was not possible, with what a firm said of it."""

    item: PlanItem
    what: str
    where: str
    words: str
    serves: str


def works_context(case: Case, user: User) -> dict[str, Any]:
    """The works of a case, as office and assessor see them."""
    orders = [*with_lateness(list(_orders(case)), timezone.localdate())]
    done = done_works(case)
    return {
        "case": case,
        "orders": orders,
        "waiting": list(items_to_order(case).whole()),
        "own": list(clients_own([case.pk]).whole()),
        "done": done,
        "house_state": house_state([work.item for work in done if work.item.state in DONE]),
        "to_repeat": _to_repeat(case, done),
        "confirmations": list(case.confirmations.all()),
        "is_office": user.role == User.Role.OFFICE,
    }


def _orders(case: Case) -> QuerySet[WorkOrder]:
    missed = Count(
        "reports__values", filter=Q(reports__values__is_missed=True, reports__returned_at=None)
    )
    return case.orders.all().for_list().annotate(n_missed=missed).order_by("-number")


def done_works(case: Case) -> list[DoneWork]:
    """What became of the items that are settled, in their order."""
    rows = list(PlanItem.objects.filter(case=case, state__in=SETTLED).whole().order_by("position"))
    served = spots_served(case, rows) if rows else {}
    reported = accepted_words(case)
    return [
        DoneWork(
            item=row,
            what=remedy_name(row.remedy.name),
            where=_where(row),
            words=reported.get(row.pk, row.note if row.state == "done differently" else ""),
            serves=places(served[row.pk]),
        )
        for row in rows
    ]


def accepted_words(case: Case) -> dict[int, str]:
    """What the latest accepted report says of each item, by its key."""
    reports = WorkReport.objects.filter(order__case=case).exclude(accepted_at=None)
    results = WorkResult.objects.filter(report__in=reports.order_by())
    rows = results.order_by("report__number").values_list("work_item__item", "words")
    return dict(rows)


def _where(item: PlanItem) -> str:
    sources = ", ".join(item.source_words())
    spots = "; ".join(spot.name for spot in item.spots.all())
    room = item.room.name if item.room else ""
    place = f"{room} ({spots})" if spots else room
    return "; ".join(filter(None, [sources, place]))


def house_state(items: Sequence[PlanItem]) -> list[str]:
    """How the house has to be when it is measured again, a line for each item that asks for it."""
    return [
        str(HOUSE_STATE[item.remedy.key]) % {"what": _where(item) or item.name}
        for item in items
        if item.remedy.key in HOUSE_STATE
    ]


def _to_repeat(case: Case, done: Sequence[DoneWork]) -> str:
    """The spots that some work serves: those to read again."""
    items = [work.item for work in done if work.item.state in DONE]
    served = spots_served(case, items) if items else {}
    every = dict.fromkeys(place for spots in served.values() for place in spots)
    return places(list(every))
