"""Ground checks: a point tried, its outlet test, its voltage to another point."""

from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from consult.models import User
from consult.services.changes import held, refuse_overtaken
from surveys.models import GroundCheck, GroundPoint, Visit
from surveys.services.entries import (
    known_names,
    locked,
    refuse_sealed,
    save_row,
    sent_before,
    with_uid,
)

CHECKED = frozenset({"point", "other_point", "voltage_v", "outlet_test", "note"})


@transaction.atomic
def record_ground_check(
    *,
    visit: Visit,
    by: User,
    point: GroundPoint,
    other_point: GroundPoint | None = None,
    voltage_v: float | None = None,
    outlet_test: str = GroundCheck.OutletTest.NOT_TESTED,
    note: str = "",
    uid: UUID | None = None,
) -> GroundCheck:
    """A ground point tried: its outlet test, its voltage to another point; once under its key."""
    open_visit = held(visit)
    typed = {
        "point": point,
        "other_point": other_point,
        "voltage_v": voltage_v,
        "outlet_test": outlet_test,
        "note": note,
    }
    known = sent_before(GroundCheck, uid, {"visit": open_visit, **typed})
    if known is not None:
        return known
    refuse_sealed(open_visit)
    check = with_uid(GroundCheck(visit=open_visit, **typed), uid)
    _check_grounds(check)
    save_row(check, by)
    return check


@transaction.atomic
def correct_ground_check(
    *, check: GroundCheck, by: User, version: int | None = None, **typed: Any
) -> GroundCheck:
    """Put right what was typed wrong; what stood there before stays in the history."""
    known_names(typed, CHECKED)
    open_visit = locked(check.visit)
    row = GroundCheck.objects.get(pk=check.pk)
    row.visit = open_visit
    for name, value in typed.items():
        setattr(row, name, value)
    refuse_overtaken(row, version)
    _check_grounds(row)
    save_row(row, by)
    return row


def _check_grounds(check: GroundCheck) -> None:
    home, point, other = check.visit.property_id, check.point, check.other_point
    faults: dict[str, str] = {}
    if point.property_id != home:
        faults["point"] = _("This ground point is not of this property.")
    if other is not None and other.property_id != home:
        faults["other_point"] = _("This ground point is not of this property.")
    if other is not None and other == point:
        faults["other_point"] = _("A ground point other than the first one.")
    if check.voltage_v is not None and not 0 <= check.voltage_v < float("inf"):
        faults["voltage_v"] = _("A number of 0 or more.")
    if faults:
        raise ValidationError(faults)
