"""What the page of a case's works shows: what was done where, and what follows for measuring."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Count, Q
from django.utils import timezone
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from consult.letters.formats import places
from consult.models import User
from mitigation.comparison.works import spots_served
from mitigation.letters.remedy_words import remedy_name
from mitigation.models import Case, KeptPromise, PlanItem, WorkOrder, WorkReport
from mitigation.pages.promises import PromiseLine, promise_line
from mitigation.services.outcome_works import accepted_words, where_words
from mitigation.services.work_orders import items_to_order
from mitigation.services.works_progress import clients_own

# In which state the house has to be when it is measured again, by the kind of remedy.
HOUSE_STATE: dict[str, str | Promise] = {
    "demand-switch": _(
        "Demand switch of %(what)s asleep: unplug or switch off what keeps it awake, and see that "
        "it has taken the circuit off."
    ),
    "unplugged-appliance": _("%(what)s unplugged."),
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
    spots: tuple[tuple[str, str], ...]  # room and name of those that it serves

    @property
    def serves(self) -> str:
        return places(self.spots)


@dataclass(frozen=True)
class ListedOrder:
    """An order in the list of its case."""

    order: WorkOrder
    is_late: bool
    n_missed: int  # values of the latest signed report that are to be looked at


def works_context(case: Case, user: User) -> dict[str, Any]:
    """The works of a case, as office and assessor see them."""
    done = done_works(case)
    carried_out = [work for work in done if work.item.state in PlanItem.CARRIED_OUT]
    to_repeat = dict.fromkeys(spot for work in carried_out for spot in work.spots)
    return {
        "case": case,
        "orders": _orders(case),
        "waiting": list(items_to_order(case).whole()),
        "own": list(clients_own([case.pk]).whole()),
        "done": done,
        "house_state": house_state([work.item for work in carried_out]),
        "to_repeat": places(list(to_repeat)),
        "promises": _promises(case),
        "confirmations": list(case.confirmations.all()),
        "is_office": user.role == User.Role.OFFICE,
    }


def _orders(case: Case) -> list[ListedOrder]:
    """The orders of a case, latest first, with what has to be looked at in each."""
    today = timezone.localdate()
    missed: dict[int, int] = {}
    signed = WorkReport.objects.filter(order__case=case).signed().order_by("number")
    rows = signed.annotate(n_missed=Count("values", filter=Q(values__is_missed=True)))
    for order, n_missed in rows.values_list("order", "n_missed"):
        missed[order] = n_missed
    return [
        ListedOrder(order, order.is_late(today), missed.get(order.pk, 0))
        for order in case.orders.all().for_list().order_by("-number")
    ]


def done_works(case: Case) -> list[DoneWork]:
    """What became of the items that are settled, in their order."""
    rows = list(case.items.all().settled().whole())
    served = spots_served(case, rows) if rows else {}
    reported = accepted_words(case)
    return [
        DoneWork(
            item=row,
            what=remedy_name(row.remedy.name),
            where=where_words(row),
            words=reported.get(
                row.pk, row.note if row.state == PlanItem.State.DONE_DIFFERENTLY else ""
            ),
            spots=served[row.pk],
        )
        for row in rows
    ]


def house_state(items: Sequence[PlanItem]) -> list[str]:
    """How the house has to be when it is measured again, a line for each item that asks for it."""
    return [
        str(HOUSE_STATE[item.remedy.key]) % {"what": where_words(item) or item.name}
        for item in items
        if item.remedy.key in HOUSE_STATE
    ]


def _promises(case: Case) -> list[PromiseLine]:
    """What was promised beside what the follow-up found."""
    rows = KeptPromise.objects.filter(case=case).select_related("case", "prediction__spot__room")
    return [promise_line(row) for row in rows.order_by("pk")]
