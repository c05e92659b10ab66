"""Visits: planned, filled in reading by reading, sealed. A sealed visit refuses every change."""

from collections.abc import Iterable
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import models, transaction
from django.utils import timezone, translation
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from simple_history.utils import bulk_update_with_history

from consult.models import Property, User
from consult.services.changes import held, refuse_overtaken, version_of
from consult.services.jobs import enqueue
from surveys.calc.measurands import ELECTRIC_FIELDS
from surveys.models import (
    Calibration,
    GroundCheck,
    GroundPoint,
    Measurand,
    Reading,
    Visit,
)
from surveys.results.certificates import Register
from surveys.services.assessors import assessor_named, assign_assessor, refuse_no_assessor
from surveys.services.entries import (
    known_names,
    locked,
    refuse_sealed,
    save_row,
    sent_before,
    with_uid,
)
from surveys.services.repeat import baseline_of
from surveys.services.sources import link_sources
from surveys.services.typed_readings import (
    TYPED,
    calibration_of_the_day,
    hold_instruments,
    refuse_wrong,
    tell,
    time_taken,
)

__all__ = [
    "add_ground_point",
    "change_conditions",
    "correct_reading",
    "missing_before_sealing",
    "plan_visit",
    "record_reading",
    "remove_visit",
    "seal_visit",
    "set_aside_reading",
    "state_of",
    "take_back_reading",
    "version_of",
]

VISIT_SEALED = "visit-sealed"
VISIT_MOVED = "visit-moved"
CONDITIONS = frozenset(
    {"label", "date", "assessor", "temperature_c", "humidity_percent", "supply_voltage_v", "note",
     "instructions", "deviations", "sampling", "measured_by"}
)  # fmt: skip


@transaction.atomic
def plan_visit(
    *,
    home: Property,
    kind: str,
    day: date,
    by: User,
    label: str = "",
    assessor: str = "",
    measured_by: User | None = None,
    instructions: str = "",
    uid: UUID | None = None,
) -> Visit:
    """A visit to come, once under its key; without a label it is named by its kind and a number.

    Letters print the name, so it is in the language of the client and not of who plans. `assessor`
    names somebody outside the practice; `measured_by` is one of its people.
    """
    assessor = measured_by.name if measured_by else assessor
    Property.objects.select_for_update().get(pk=home.pk)
    sent = {"property": home, "kind": kind, "date": day, "assessor": assessor,
            "measured_by": measured_by, "instructions": instructions}  # fmt: skip
    known = sent_before(Visit, uid, sent | ({"label": label} if label else {}))
    if known is not None:
        return known
    same_kind = home.visits.filter(kind=kind).count()
    with translation.override(home.client.language):
        kind_words = str(dict(Visit.Kind.choices).get(kind, kind))
    visit = Visit(
        **sent,
        label=label or f"{kind_words} {same_kind + 1}",
        position=home.visits.count(),
    )
    save_row(with_uid(visit, uid), by)
    if measured_by is not None:
        assign_assessor(home=home, person=measured_by, by=by)
    return visit


@transaction.atomic
def remove_visit(*, visit: Visit, by: User, reason: str) -> None:
    """Take away a planned visit at which nothing was entered; the history keeps it, and why."""
    row = locked(visit)
    if not Visit.objects.not_begun().filter(pk=row.pk).exists():
        raise ValidationError(_("Something has been entered at this visit, so it stays."))
    row._history_user, row._change_reason = by, reason  # type: ignore[attr-defined]  # read by simple_history
    row.delete()


@transaction.atomic
def change_conditions(*, visit: Visit, by: User, version: int | None = None, **given: Any) -> Visit:
    """What stands at the head of a visit; `version` is the one that the form was opened with.

    What another day means for a case is a job, because surveys know no cases.
    """
    known_names(given, CONDITIONS)
    open_visit = locked(visit)
    day, goes_to = open_visit.date, _new_assessor(open_visit, given)
    for name, value in given.items():
        setattr(open_visit, name, value)
    refuse_overtaken(open_visit, version)
    save_row(open_visit, by)
    if goes_to is not None:
        assign_assessor(home=open_visit.property, person=goes_to, by=by)
    if "date" in given:
        _pin_calibrations(open_visit, by)
        _tell_times(open_visit)
    if open_visit.date != day:
        key = f"{VISIT_MOVED}:{open_visit.pk}:{version_of(open_visit)}"
        moved = {"visit": open_visit.pk, "old_day": day.isoformat()}
        enqueue(kind=VISIT_MOVED, key=key, arguments=moved)
    return open_visit


def _new_assessor(visit: Visit, given: dict[str, Any]) -> User | None:
    """Make of the person or the name that was given what the visit keeps; who it newly goes to.

    The name of one of the practice's people is that person: they have to see the visit.
    """
    if not {"measured_by", "assessor"} & given.keys():
        return None
    name = given.pop("assessor", "")
    person = given.pop("measured_by", None) or assessor_named(name)
    if person is not None and person == visit.measured_by:
        return None
    if person is not None:
        refuse_no_assessor(person)
    given |= {"measured_by": person, "assessor": person.name if person else name}
    return person


def _tell_times(visit: Visit) -> None:
    """The hours of a visit that moved to another day; they were told by its day."""
    readings = list(visit.readings.exclude(taken_at_text=""))
    for row in readings:
        row.visit = visit
        row.taken_at = time_taken(row)
    Reading.objects.bulk_update(readings, ["taken_at"], batch_size=500)


@transaction.atomic
def add_ground_point(*, visit: Visit, by: User, name: str, uid: UUID | None = None) -> GroundPoint:
    """A ground point of the property; one of that name is taken as it is."""
    sent = sent_before(GroundPoint, uid, {"property": visit.property, "name": name})
    if sent is not None:
        return sent
    locked(visit)
    known = visit.property.ground_points.filter(name=name).first()
    if known is not None:
        return known
    row = with_uid(GroundPoint(property=visit.property, name=name), uid)
    save_row(row, by)
    return row


@transaction.atomic
def record_reading(
    *,
    visit: Visit,
    by: User,
    uid: UUID | None = None,
    device_at: datetime | None = None,
    **typed: Any,
) -> Reading:
    """One look at the meter, held to the rules of a case folder's row, once under its key.

    `device_at` is what the clock of the sender showed; the server's own is kept beside it.
    """
    known_names(typed, TYPED)
    open_visit = held(visit)
    known = sent_before(Reading, uid, {"visit": open_visit, **typed})
    if known is not None:
        return known
    refuse_sealed(open_visit)
    last = open_visit.readings.aggregate(last=models.Max("position"))["last"]
    reading = Reading(visit=open_visit, position=(last or 0) + 1, device_at=device_at, **typed)
    reading.calibration = calibration_of_the_day(reading)
    tell(reading)
    refuse_wrong(reading)
    save_row(with_uid(reading, uid), by)
    link_sources(readings=[reading], home=open_visit.property_id)
    return reading


@transaction.atomic
def correct_reading(
    *, reading: Reading, by: User, version: int | None = None, **typed: Any
) -> Reading:
    """Put right what was typed wrong; what stood there before stays in the history."""
    known_names(typed, TYPED)
    open_visit = locked(reading.visit)
    row = Reading.objects.get(pk=reading.pk)
    row.visit = open_visit
    for name, value in typed.items():
        setattr(row, name, value)
    row.calibration = calibration_of_the_day(row)
    tell(row)
    refuse_overtaken(row, version)
    refuse_wrong(row)
    save_row(row, by)
    link_sources(readings=[row], home=open_visit.property_id)
    return row


@transaction.atomic
def set_aside_reading(*, reading: Reading, by: User, reason: str) -> Reading:
    """The reading stays and counts no more; why is written beside it."""
    if not reason.strip():
        raise ValidationError({"reason": _("Say why this reading does not count.")})
    return _change_set_aside(reading, by, reason.strip())


@transaction.atomic
def take_back_reading(*, reading: Reading, by: User) -> Reading:
    """A reading that was set aside counts again; the history keeps the reason."""
    return _change_set_aside(reading, by, "")


def _change_set_aside(reading: Reading, by: User, reason: str) -> Reading:
    locked(reading.visit)
    row = Reading.objects.get(pk=reading.pk)
    row.set_aside = reason
    row._history_user = by  # type: ignore[attr-defined]  # read by the history
    row.save(update_fields=["set_aside"])
    return row


def missing_before_sealing(visit: Visit, *, today: date) -> list[str]:
    """What still has to be entered before the visit may be sealed, in plain sentences."""
    counted = list(visit.readings.counted().select_related("spot__room"))
    missing = []
    if visit.date > today:
        missing.append(_("The day of the visit has not come yet."))
    if baseline_of(visit) is None:
        missing.append(
            _("No sealed baseline is of this day or before: there is nothing to compare it with.")
        )
    if not visit.assessor:
        missing.append(_("Who measured is not named."))
    if visit.supply_voltage_v is None:
        missing.append(_("The supply voltage of the day is not written down."))
    if not counted:
        missing.append(_("There is no reading as used that counts."))
    if visit.humidity_percent is None and any(row.measurand in ELECTRIC_FIELDS for row in counted):
        missing.append(_("The humidity is not written down; electric fields depend on it."))
    return missing + _grounds_missing(visit, counted)


def _grounds_missing(visit: Visit, counted: Iterable[Reading]) -> list[str]:
    """Ground-referenced readings without a ground point, and points that nobody checked."""
    nowhere = [row for row in counted if row.ground_point_id is None]
    fields = sum(row.measurand == Measurand.ELECTRIC_FIELD_GROUND for row in nowhere)
    voltages = sum(row.measurand == Measurand.BODY_VOLTAGE for row in nowhere)
    missing = []
    if fields:
        sentence = ngettext(
            "%(n)d ground-referenced reading names no ground point.",
            "%(n)d ground-referenced readings name no ground point.",
            fields,
        )
        missing.append(sentence % {"n": fields})
    if voltages:
        sentence = ngettext(
            "%(n)d reading of the body voltage names no ground point.",
            "%(n)d readings of the body voltage name no ground point.",
            voltages,
        )
        missing.append(sentence % {"n": voltages})
    used = {row.ground_point_id for row in counted if row.ground_point_id}
    # Where nothing could be tested the note says why: an empty row checks nothing.
    empty = {"outlet_test": GroundCheck.OutletTest.NOT_TESTED, "voltage_v": None, "note": ""}
    checked = visit.ground_checks.exclude(**empty).values_list("point", "other_point")
    unchecked = used - {pk for pair in checked for pk in pair}
    missing += [
        _("Ground point %(point)s was used, but not checked.") % {"point": point}
        for point in GroundPoint.objects.filter(pk__in=unchecked)
    ]
    return missing


def state_of(visit: Visit) -> str:
    """What stands in a visit, in a few digits that no later entry or change leaves as they are."""
    histories = (Visit.history.filter(id=visit.pk), Reading.history.filter(visit=visit.pk),
                 GroundCheck.history.filter(visit=visit.pk))  # fmt: skip
    latest = (rows.aggregate(latest=models.Max("history_id"))["latest"] for rows in histories)
    return "-".join(str(number or 0) for number in latest)


@transaction.atomic
def seal_visit(*, visit: Visit, by: User, now: datetime, seen: str = "") -> Visit:
    """Pin the certificate of each reading and close the visit for good.

    `seen` is the state that the person looked through: nothing is sealed that came later. What
    follows for a case is a job, because surveys know no cases.
    """
    row = locked(visit)
    if seen and seen != state_of(row):
        raise ValidationError(
            _("Somebody entered or changed something meanwhile. Look it through before you seal.")
        )
    missing = missing_before_sealing(row, today=timezone.localdate(now))
    if missing:
        raise ValidationError(missing)
    _pin_calibrations(row, by)
    row.sealed_at, row.sealed_by = now, by
    row.save_without_historical_record(update_fields=["sealed_at", "sealed_by"])  # type: ignore[attr-defined]  # set by simple_history
    Visit.history.bulk_history_create([row], update=True, default_user=by)
    enqueue(kind=VISIT_SEALED, key=f"{VISIT_SEALED}:{row.pk}", arguments={"visit": row.pk})
    return row


def _pin_calibrations(visit: Visit, by: User) -> None:
    """Give every reading the calibration that the register has for the day of the visit."""
    readings = list(visit.readings.all())
    hold_instruments(row.instrument_id for row in readings)
    register = Register(
        Calibration.objects.filter(instrument__in={row.instrument_id for row in readings})
    )
    changed = []
    for row in readings:
        pinned = register.on(
            visit.date,
            instrument=row.instrument_id,
            quantity=Measurand(row.measurand).quantity,
        )
        if pinned is not None and pinned.pk != row.calibration_id:
            row.calibration = pinned
            changed.append(row)
    bulk_update_with_history(changed, Reading, ["calibration"], default_user=by)
