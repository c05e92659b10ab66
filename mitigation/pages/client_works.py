"""What a client sees of the works: who comes when, their own part, what was done."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from django.utils import timezone

from consult.models import User
from mitigation.forms.reports import WorksDoneForm
from mitigation.letters.remedy_words import remedy_name
from mitigation.models import Case, PlanItem, Stage, WorkOrder
from mitigation.pages.appointments import Appointments, appointments_by_order
from mitigation.services.works_progress import clients_own

State = WorkOrder.State
SHOWN = (State.SENT, State.REPORTED, State.RETURNED, State.ACCEPTED)


@dataclass
class ClientWorks:
    """The works of one case in plain words."""

    orders: list[tuple[WorkOrder, Appointments]] = field(default_factory=list)
    own: list[tuple[str, str]] = field(default_factory=list)  # name and words of each item
    done: list[tuple[str, PlanItem]] = field(default_factory=list)
    form: WorksDoneForm | None = None


def works_of_client(cases: Sequence[Case], user: User) -> dict[int, ClientWorks]:
    """The works of each case by its key; a fixed number of queries."""
    works = {case.pk: ClientWorks() for case in cases}
    at_works = [case.pk for case in cases if case.stage == Stage.WORKS]
    orders = WorkOrder.objects.filter(case__in=cases, state__in=SHOWN).select_related("firm")
    shown = list(orders.defer("content").order_by("agreed_at", "number"))
    appointments = appointments_by_order(shown, user, timezone.now())
    for order in shown:
        works[order.case_id].orders.append((order, appointments[order.pk]))
    for item in clients_own(at_works).whole():
        works[item.case_id].own.append((item.name, item_words(item)))
    for item in PlanItem.objects.filter(case__in=cases).settled().whole():
        works[item.case_id].done.append((item_words(item), item))
    for pk in at_works:
        works[pk].form = WorksDoneForm(auto_id=f"works-{pk}-%s", initial={"name": user.name})
    return works


def item_words(item: PlanItem) -> str:
    """A remedy with its place, as a client reads it."""
    where = ", ".join(filter(None, [*item.source_words(), item.room.name if item.room else ""]))
    name = remedy_name(item.remedy.name)
    return f"{name} ({where})" if where else name
