"""Items that a folder brings into a case: what is there stays, what contradicts it is refused."""

from collections.abc import Iterable, Sequence
from typing import Any

from django.utils.translation import gettext as _

from mitigation.models import Case, PlanItem
from mitigation.models.money import in_cents
from surveys.intake import Fault
from surveys.intake.remedies import PROPOSED, RemedyRow
from surveys.intake.sources import REMEDIES
from surveys.models.circuits import as_list
from surveys.models.names import folded


def new_items(case: Case, rows: Sequence[RemedyRow]) -> list[RemedyRow]:
    """The rows whose names no item of the case has."""
    known = {folded(name) for name in case.items.values_list("name", flat=True)}
    return [row for row in rows if folded(row.item) not in known]


def item_contradictions(case: Case, rows: Sequence[RemedyRow]) -> list[Fault]:
    """Every cell by which a row says something else than the item of its name.

    An empty cell says nothing, nor does a state that is still "proposed". Whether an item is in the
    plan is no content: it is chosen anew whenever somebody plans.
    """
    items = {folded(item.name): item for item in PlanItem.objects.filter(case=case).whole()}
    words = _("%(value)s, as item %(item)s of the case has it")
    faults = []
    for row in rows:
        item = items.get(folded(row.item))
        for column, cell, value in _differences(row, item) if item is not None else ():
            shown = _("nothing") if value in (None, "") else str(value)
            allowed = words % {"value": shown, "item": row.item}
            faults.append(Fault(REMEDIES, row.row_number, column, str(cell), allowed))
    return faults


def _differences(row: RemedyRow, item: PlanItem) -> Iterable[tuple[str, Any, Any]]:
    """The columns in which a row differs, with what it says and what the item has."""
    values: dict[str, tuple[Any, Any]] = {
        "remedy": (row.remedy, item.remedy.key),
        "circuits": (row.circuits, item.circuits.all()),
        "appliances": (row.appliances, item.appliances.all()),
        "room": ((row.room,) if row.room else (), [item.room] if item.room else []),
        "spots": (row.spots, item.spots.all()),
        "effect_db": (row.effect_db, item.effect_db),
        "spread_db": (row.spread_db, item.spread_db),
        "works_percent": (row.works_percent, item.works_percent),
        "cost": (in_cents(row.cost), item.cost),
        "state": (None if row.state == PROPOSED else row.state, item.state),
        "done_on": (row.done_on, item.done_on),
        "done_by": (row.done_by, item.done_by),
        "note": (row.note, item.note),
    }
    for column, (cell, value) in values.items():
        if isinstance(cell, tuple):
            names = [other.name for other in value]
            same = set(map(folded, cell)) == set(map(folded, names))
            cell, value = as_list(cell), as_list(names)
        else:
            same = cell == value
        if cell not in (None, "") and not same:
            yield column, cell, value
