"""What a device sends twice is known by its key for ever, and never taken for something else."""

import datetime as dt
from typing import Any
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils import timezone

from consult.models import EntryKey
from consult.services.changes import version_of
from surveys.models import (
    GroundCheck,
    GroundPoint,
    Measurand,
    Reading,
    Room,
    Spot,
    Visit,
)
from surveys.services import ground_checks, places, visits
from tests.factories import (
    BASELINE_DAY,
    CalibrationFactory,
    PropertyFactory,
    SpotFactory,
    UserFactory,
)

DEVICE_CLOCK = dt.datetime(2026, 3, 2, 21, 11, 30, tzinfo=dt.UTC)


@pytest.fixture
def office(db):
    return UserFactory()


@pytest.fixture
def visit(office):
    return visits.plan_visit(home=PropertyFactory(), kind="baseline", day=BASELINE_DAY, by=office)


@pytest.fixture
def row(visit, office):
    calibration = CalibrationFactory.create()
    return {"visit": visit, "by": office, "spot": SpotFactory(home=visit.property),
            "measurand": Measurand.ELECTRIC_FIELD_GROUND, "instrument": calibration.instrument,
            "unit": "V/m", "total": 4.2, "taken_at_text": "21:10"}  # fmt: skip


def refused(call, **given):
    with pytest.raises(ValidationError, match="entered before, with other content"):
        call(**given)


def test_a_reading_sent_again_is_the_one_that_is_there(row, office):
    uid = uuid4()
    first = visits.record_reading(uid=uid, device_at=DEVICE_CLOCK, **row)
    assert (first.uid, first.device_at) == (uid, DEVICE_CLOCK)
    assert abs(first.recorded_at - timezone.now()) < dt.timedelta(minutes=5)
    EntryKey.objects.all().delete()  # forms are forgotten after some weeks, keys of rows never
    assert visits.record_reading(uid=uid, **row) == first
    refused(visits.record_reading, uid=uid, **row | {"total": 4.3})
    other = visits.plan_visit(home=row["visit"].property, kind="baseline", day=BASELINE_DAY,
                              by=office)  # fmt: skip
    refused(visits.record_reading, uid=uid, **row | {"visit": other})
    assert Reading.objects.count() == 1
    assert visits.record_reading(uid=uuid4(), **row) != first


def test_what_was_put_right_since_is_still_known_as_it_was_sent(row, office):
    uid = uuid4()
    first = visits.record_reading(uid=uid, **row)
    visits.correct_reading(reading=first, by=office, total=7.0)
    visits.change_conditions(visit=row["visit"], by=office, note="windy")
    again = visits.record_reading(uid=uid, **row)
    assert (again, again.total) == (first, 7.0)
    refused(visits.record_reading, uid=uid, **row | {"total": 5.0})


def test_a_reading_sent_again_after_the_seal_is_no_error(row):
    uid = uuid4()
    first = visits.record_reading(uid=uid, **row)
    Visit.objects.filter(pk=row["visit"].pk).update(sealed_at=timezone.now())
    assert visits.record_reading(uid=uid, **row) == first
    with pytest.raises(ValidationError, match="sealed"):
        visits.record_reading(uid=uuid4(), **row)


def test_the_time_follows_the_hour_and_the_day_of_the_visit(row, office):
    reading = visits.record_reading(**row)
    zone = timezone.get_default_timezone()
    evening = dt.datetime.combine(BASELINE_DAY, dt.time(21, 10), tzinfo=zone)
    assert reading.taken_at == evening
    corrected = visits.correct_reading(reading=reading, by=office, taken_at_text="21:40")
    assert corrected.taken_at == evening + dt.timedelta(minutes=30)
    day = BASELINE_DAY + dt.timedelta(days=1)
    n_entries = Reading.history.count()
    visits.change_conditions(visit=row["visit"], by=office, date=day)
    reading.refresh_from_db()
    assert reading.taken_at == evening + dt.timedelta(days=1, minutes=30)
    assert Reading.history.count() == n_entries  # it says nothing that hour and day do not
    late = visits.correct_reading(reading=reading, by=office, taken_at_text="after supper")
    assert late.taken_at is None


def test_a_ground_check_a_point_a_spot_and_a_visit_are_known_again(visit, office):
    uids = [uuid4() for _ in range(5)]
    at = {"visit": visit, "by": office}
    point = visits.add_ground_point(**at, name="rod", uid=uids[0])
    check = {**at, "point": point, "outlet_test": "ok", "uid": uids[1]}
    spot = {**at, "room": "Bedroom", "spot": "bed head", "use": "sleeping", "uid": uids[2],
            "room_uid": uids[3]}  # fmt: skip
    plan = {"home": visit.property, "kind": "follow-up", "day": BASELINE_DAY, "by": office,
            "uid": uids[4]}  # fmt: skip
    calls: list[tuple[Any, dict[str, Any], dict[str, Any]]] = [
        (visits.add_ground_point, {**at, "name": "rod", "uid": uids[0]}, {"name": "pipe"}),
        (ground_checks.record_ground_check, check, {"outlet_test": "fault"}),
        (places.add_spot, spot, {"spot": "bed foot"}),
        (places.add_spot, spot, {"room": "Study"}),
        (visits.plan_visit, plan, {"day": BASELINE_DAY + dt.timedelta(days=1)}),
    ]
    for call, given, _other in calls:
        call(**given)
    models = (Visit, Room, Spot, GroundPoint, GroundCheck)
    counts = [model.objects.count() for model in models]
    first = [call(**given) for call, given, _other in calls]
    for call, given, other in calls:
        refused(call, **given | other)
    assert [call(**given) for call, given, _other in calls] == first
    assert [model.objects.count() for model in models] == counts
    assert {row.uid for row in (*first, first[2].room)} == set(uids)


def test_a_renamed_spot_is_known_under_its_first_name(visit, office):
    given = {"visit": visit, "by": office, "room": "Bedroom", "spot": "bed", "uid": uuid4()}
    spot = places.add_spot(**given)
    places.change_spot(
        spot=spot, by=office, name="bed head", use="sleeping", version=version_of(spot)
    )
    places.rename_room(room=spot.room, by=office, name="Nursery", version=version_of(spot.room))
    assert places.add_spot(**given) == spot
    other = PropertyFactory()
    visit_there = visits.plan_visit(home=other, kind="baseline", day=BASELINE_DAY, by=office)
    refused(places.add_spot, **given | {"visit": visit_there})


def test_a_key_is_of_one_row_by_the_word_of_the_database(row):
    first = visits.record_reading(**row)
    with pytest.raises(IntegrityError), transaction.atomic():
        Reading.objects.create(
            visit=row["visit"], position=99, spot=row["spot"], measurand=row["measurand"],
            instrument=row["instrument"], unit="V/m", total=1, uid=first.uid,
        )  # fmt: skip
