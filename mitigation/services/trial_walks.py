"""The readings of a trial walk, entered state by state at the panel.

A state has one row of readings. Where the meter shows one axis at a time its row is made by the
first axis and gets the others as they are read; its history keeps when each came.
"""

from collections.abc import Mapping
from itertools import count
from typing import Any
from uuid import UUID, uuid5

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from consult.models import User
from consult.services.changes import held
from mitigation.planning.trials import State
from mitigation.planning.walks import Where
from surveys.models import Reading, Visit
from surveys.models.circuits import names_in
from surveys.models.displays import CELLS
from surveys.models.names import folded
from surveys.services.visits import correct_reading, record_reading


@transaction.atomic
def enter_state(
    *, where: Where, by: User, unit: str, off: str, nth: int, cells: Mapping[str, Any]
) -> Reading:
    """What the meter showed in a state, the `nth` time; sent again it is the same row."""
    visit = held(where.visit)
    rows = _rows_of(visit, where, _state(off))
    if nth < len(rows):
        return _add_axes(rows[nth], by, cells)
    blank = dict.fromkeys(CELLS) | {f"{axis}_mark": "" for axis in CELLS}
    return record_reading(
        visit=visit,
        by=by,
        uid=_key(where, _state(off), len(rows)),
        spot=where.spot,
        measurand=where.measurand,
        ground_point=where.ground_point,
        instrument=where.instrument,
        unit=unit,
        state=Reading.State.TRIAL,
        circuits_off=off,
        **(blank | dict(cells)),
    )


def _state(off: str) -> State:
    return frozenset(map(folded, names_in(off)))


def _rows_of(visit: Visit, where: Where, state: State) -> list[Reading]:
    """The rows of a state that count, in the order in which they were read."""
    readings = Reading.objects.trials().filter(
        visit=visit, spot=where.spot, measurand=where.measurand, ground_point=where.ground_point,
        instrument=where.instrument,
    )  # fmt: skip
    return [row for row in readings.order_by("position") if _state(row.circuits_off) == state]


def _key(where: Where, state: State, nth: int) -> UUID:
    """A key that is the same in every form that asks for this row.

    A row of before that was set aside, or is of another state now, keeps its key.
    """
    for attempt in count():
        key = uuid5(where.visit.uid, repr((*where.key, sorted(state), nth, attempt)))
        if not Reading.objects.filter(uid=key).exists():
            return key
    raise AssertionError("unreachable")


def _add_axes(row: Reading, by: User, cells: Mapping[str, Any]) -> Reading:
    """Axes that the row does not have yet; what it has already may be sent again."""
    typed: dict[str, Any] = {}
    for axis in (axis for axis in CELLS if cells.get(axis) is not None):
        value, mark = cells[axis], cells.get(f"{axis}_mark", "")
        if getattr(row, axis) is None:
            typed |= {axis: value, f"{axis}_mark": mark}
        elif (getattr(row, axis), getattr(row, f"{axis}_mark")) != (value, mark):
            words = _(
                "This state was read before and showed something else: correct reading %(n)s."
            )
            raise ValidationError(words % {"n": row.position})
    return correct_reading(reading=row, by=by, **typed) if typed else row
