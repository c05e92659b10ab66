"""Visits on screen: what may be typed, what is missing, what a seal forbids."""

import datetime as dt

import pytest
from django.core.exceptions import ValidationError
from django.utils import timezone, translation

from consult.services.changes import version_of
from surveys.models import (
    Calibration,
    GroundCheck,
    GroundPoint,
    Guideline,
    Measurand,
    Reading,
    Visit,
)
from surveys.results import visit_results
from surveys.results.certificates import Register
from surveys.results.dangers import dangers_of
from surveys.services import ground_checks, places, visits
from tests.factories import (
    BASELINE_DAY,
    CalibrationFactory,
    PropertyFactory,
    SpotFactory,
    UserFactory,
)

pytestmark = pytest.mark.django_db

DAY_AFTER = BASELINE_DAY + dt.timedelta(days=1)


@pytest.fixture
def office():
    return UserFactory()


@pytest.fixture
def visit(office):
    return visits.plan_visit(
        home=PropertyFactory(), kind="baseline", day=BASELINE_DAY, by=office, assessor="A. Brook"
    )


@pytest.fixture
def typed(visit, office):
    """A row that may be recorded; the tests below change one thing each."""
    calibration = CalibrationFactory.create()
    point = visits.add_ground_point(visit=visit, by=office, name="socket by the door")
    return {
        "spot": SpotFactory(home=visit.property),
        "measurand": Measurand.ELECTRIC_FIELD_GROUND,
        "instrument": calibration.instrument,
        "ground_point": point,
        "unit": "V/m",
        "x": 3.0,
        "y": 4.0,
        "z": 12.0,
    }


def complete(visit, typed, office):
    """All that sealing asks for."""
    visits.change_conditions(visit=visit, by=office, humidity_percent=45.0, supply_voltage_v=231.0)
    ground_checks.record_ground_check(
        visit=visit, by=office, point=typed["ground_point"], outlet_test="ok"
    )
    return visits.record_reading(visit=visit, by=office, **typed)


def test_a_recorded_reading_counts_in_the_findings(visit, typed, office):
    reading = visits.record_reading(visit=visit, by=office, **typed)
    found = visit_results(
        [visit], guideline=Guideline.objects.get(code="SBM-2015"), placement=0.05
    ).findings[(visit.pk, typed["spot"].pk, Measurand.ELECTRIC_FIELD_GROUND)]
    assert found.value == pytest.approx(13.0)  # 3, 4, 12
    assert found.reading == reading.pk
    assert reading.history.get().history_user == office


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"unit": "nT"}, "unit"),
        ({"total": 5.0}, "total"),
        ({"x": None, "y": None, "z": None}, "total"),
        ({"x": -1.0}, "x"),
        ({"x": float("inf")}, "x"),
        ({"x": 0.0, "x_mark": "<"}, "x"),
        ({"measurand": Measurand.BODY_VOLTAGE, "unit": "mV"}, "instrument"),
        ({"body_distance_m": -0.5}, "body_distance_m"),
    ],
)
def test_what_a_case_folder_would_refuse_is_refused(visit, typed, office, change, field):
    with pytest.raises(ValidationError) as refused:
        visits.record_reading(visit=visit, by=office, **(typed | change))
    assert field in refused.value.message_dict
    assert not visit.readings.exists()
    visits.record_reading(visit=visit, by=office, **typed)


def test_a_spot_or_ground_point_of_another_home_is_refused(visit, typed, office):
    elsewhere = visits.plan_visit(
        home=PropertyFactory(), kind="baseline", day=BASELINE_DAY, by=office
    )
    point = visits.add_ground_point(visit=elsewhere, by=office, name="water pipe")
    with pytest.raises(ValidationError, match="spot"):
        visits.record_reading(
            visit=visit, by=office, **(typed | {"spot": SpotFactory(home=elsewhere.property)})
        )
    with pytest.raises(ValidationError, match="ground point"):
        visits.record_reading(visit=visit, by=office, **(typed | {"ground_point": point}))
    with pytest.raises(ValidationError, match="ground point"):
        ground_checks.record_ground_check(visit=visit, by=office, point=point)


def test_what_is_missing_is_said_in_sentences(visit, typed, office):
    missing = visits.missing_before_sealing(visit, today=DAY_AFTER)
    assert missing == [
        "The supply voltage of the day is not written down.",
        "There is no reading as used that counts.",
    ]
    visits.record_reading(visit=visit, by=office, **(typed | {"ground_point": None}))
    visits.record_reading(visit=visit, by=office, **typed)
    assert visits.missing_before_sealing(visit, today=DAY_AFTER) == [
        "The supply voltage of the day is not written down.",
        "The humidity is not written down; electric fields depend on it.",
        "1 ground-referenced reading names no ground point.",
        "Ground point socket by the door was used, but not checked.",
    ]


def test_an_empty_ground_check_checks_nothing(visit, typed, office):
    said = "Ground point socket by the door was used, but not checked."
    visits.record_reading(visit=visit, by=office, **typed)
    point = typed["ground_point"]
    ground_checks.record_ground_check(visit=visit, by=office, point=point)
    assert said in visits.missing_before_sealing(visit, today=DAY_AFTER)
    ground_checks.record_ground_check(
        visit=visit, by=office, point=point, note="The only point there is."
    )
    assert said not in visits.missing_before_sealing(visit, today=DAY_AFTER)


def test_a_visit_that_has_not_come_yet_is_not_sealed(visit, typed, office):
    complete(visit, typed, office)
    row = Visit.objects.get(pk=visit.pk)
    assert visits.missing_before_sealing(row, today=BASELINE_DAY) == []
    assert visits.missing_before_sealing(row, today=BASELINE_DAY - dt.timedelta(days=1)) == [
        "The day of the visit has not come yet."
    ]


def test_a_follow_up_without_a_baseline_up_to_its_day_is_not_sealed(visit, typed, office):
    home, today = visit.property, DAY_AFTER + dt.timedelta(days=9)
    early = visits.plan_visit(
        home=home, kind="follow-up", day=BASELINE_DAY, by=office, assessor="A. Brook"
    )
    complete(early, typed, office)
    missing = visits.missing_before_sealing(Visit.objects.get(pk=early.pk), today=today)
    assert missing == [
        "No sealed baseline is of this day or before: there is nothing to compare it with."
    ]
    complete(visit, typed, office)
    visits.seal_visit(visit=visit, by=office, now=timezone.now())
    assert visits.missing_before_sealing(Visit.objects.get(pk=early.pk), today=today) == []
    visits.change_conditions(visit=early, by=office, date=BASELINE_DAY - dt.timedelta(days=1))
    assert visits.missing_before_sealing(Visit.objects.get(pk=early.pk), today=today) == missing


def test_a_visit_with_something_missing_stays_open(visit, typed, office):
    visits.record_reading(visit=visit, by=office, **typed)
    with pytest.raises(ValidationError, match="supply voltage"):
        visits.seal_visit(visit=visit, by=office, now=timezone.now())
    visit.refresh_from_db()
    assert visit.sealed_at is None


def test_sealing_pins_the_certificate_that_began_last_before_the_day(visit, typed, office):
    reading = complete(visit, typed, office)
    instrument = typed["instrument"]
    newer = CalibrationFactory.create(
        instrument=instrument, certificate="K-101", calibrated_on=BASELINE_DAY
    )
    later = CalibrationFactory.create(
        instrument=instrument, certificate="K-102", calibrated_on=DAY_AFTER
    )
    assert reading.calibration not in (newer, later)
    sealed = visits.seal_visit(visit=visit, by=office, now=timezone.now())
    reading.refresh_from_db()
    assert reading.calibration == newer
    assert sealed.sealed_by == office
    assert [one.history_user for one in reading.history.all()] == [office, office]
    assert visit.history.first().sealed_at is not None


def test_of_certificates_that_all_began_later_the_first_describes_the_instrument(visit, office):
    first = CalibrationFactory.create(calibrated_on=DAY_AFTER)
    second = CalibrationFactory.create(
        instrument=first.instrument, calibrated_on=DAY_AFTER + dt.timedelta(days=9)
    )
    register = Register([second, first])
    where = {"instrument": first.instrument_id, "quantity": first.quantity}
    assert register.on(BASELINE_DAY, **where) == first


def test_a_sealed_visit_refuses_every_change(visit, typed, office):
    reading = complete(visit, typed, office)
    changes = [
        lambda: visits.record_reading(visit=visit, by=office, **typed),
        lambda: visits.correct_reading(reading=reading, by=office, x=5.0),
        lambda: visits.set_aside_reading(reading=reading, by=office, reason="hand moved"),
        lambda: visits.take_back_reading(reading=reading, by=office),
        lambda: visits.change_conditions(visit=visit, by=office, humidity_percent=60.0),
        lambda: places.add_spot(visit=visit, by=office, room="Study", spot="desk"),
        lambda: visits.add_ground_point(visit=visit, by=office, name="rod"),
        lambda: ground_checks.record_ground_check(
            visit=visit, by=office, point=typed["ground_point"]
        ),
    ]
    for change in changes:
        change()
    counts = (visit.readings.count(), visit.ground_checks.count())
    visits.seal_visit(visit=visit, by=office, now=timezone.now())
    before = list(Reading.objects.order_by("pk").values())
    for change in changes:
        with pytest.raises(ValidationError, match="sealed"):
            change()
    assert list(Reading.objects.order_by("pk").values()) == before
    assert (visit.readings.count(), visit.ground_checks.count()) == counts


def test_setting_aside_needs_a_reason_and_takes_the_reading_out(visit, typed, office):
    reading = visits.record_reading(visit=visit, by=office, **typed)
    with pytest.raises(ValidationError, match="why"):
        visits.set_aside_reading(reading=reading, by=office, reason="  ")
    visits.set_aside_reading(reading=reading, by=office, reason="the lamp was on")
    assert "There is no reading as used that counts." in visits.missing_before_sealing(
        visit, today=DAY_AFTER
    )
    visits.take_back_reading(reading=reading, by=office)
    assert [one.set_aside for one in reading.history.all()] == ["", "the lamp was on", ""]


def test_the_second_of_two_who_correct_one_reading_is_told(visit, typed, office):
    reading = visits.record_reading(visit=visit, by=office, **typed)
    seen = version_of(reading)
    visits.correct_reading(reading=reading, by=office, version=seen, x=5.0)
    with pytest.raises(ValidationError, match="changed this meanwhile"):
        visits.correct_reading(reading=reading, by=office, version=seen, x=6.0)
    reading.refresh_from_db()
    assert reading.x == 5.0


def test_another_day_brings_another_certificate(visit, typed, office):
    reading = visits.record_reading(visit=visit, by=office, **typed)
    later = CalibrationFactory.create(instrument=typed["instrument"], calibrated_on=DAY_AFTER)
    visits.change_conditions(visit=visit, by=office, date=DAY_AFTER)
    reading.refresh_from_db()
    assert reading.calibration == later


def test_a_faulty_outlet_and_a_field_above_the_reference_level_stop_the_survey(
    visit, typed, office
):
    complete(visit, typed, office)
    assert dangers_of(visit) == []
    ground_checks.record_ground_check(
        visit=visit, by=office, point=typed["ground_point"], outlet_test="fault"
    )
    visits.record_reading(visit=visit, by=office, **(typed | {"x": 5001.0}))
    assert sorted(one.kind for one in dangers_of(visit)) == ["field", "outlet"]
    assert GroundCheck.objects.count() == 2


def test_a_meter_at_the_end_of_its_range_does_not_hide_the_danger(visit, typed, office):
    # Its ceiling makes "more than 1999" of it; the display said 5200 all the same.
    Calibration.objects.update(floor=0.3, ceiling=1999.0)
    visits.record_reading(
        visit=visit, by=office, **(typed | {"x": None, "y": None, "z": None, "total": 5200.0})
    )
    (danger,) = dangers_of(visit)
    assert (danger.value, danger.unit, danger.qualifier) == (5200.0, "V/m", "")


def test_a_ground_check_is_corrected_with_its_history(visit, typed, office):
    point = typed["ground_point"]
    check = ground_checks.record_ground_check(
        visit=visit, by=office, point=point, outlet_test="fault"
    )
    seen = version_of(check)
    ground_checks.correct_ground_check(check=check, by=office, version=seen, outlet_test="ok")
    assert dangers_of(visit) == []
    assert [one.outlet_test for one in check.history.all()] == ["ok", "fault"]
    with pytest.raises(ValidationError, match="changed this meanwhile"):
        ground_checks.correct_ground_check(check=check, by=office, version=seen, voltage_v=1.0)
    with pytest.raises(ValidationError, match="A number of 0 or more"):
        ground_checks.correct_ground_check(check=check, by=office, voltage_v=-1.0)


def test_a_ground_point_is_not_checked_against_itself(visit, typed, office):
    point = typed["ground_point"]
    itself = GroundPoint.objects.get(pk=point.pk)  # as a form brings it: the same row, read anew
    with pytest.raises(ValidationError, match="other than the first one"):
        ground_checks.record_ground_check(
            visit=visit, by=office, point=point, other_point=itself, voltage_v=0.0
        )
    pipe = visits.add_ground_point(visit=visit, by=office, name="water pipe")
    check = ground_checks.record_ground_check(
        visit=visit, by=office, point=point, other_point=pipe, voltage_v=0.0
    )
    with pytest.raises(ValidationError, match="other than the first one"):
        ground_checks.correct_ground_check(check=check, by=office, other_point=itself)
    assert GroundCheck.objects.get().other_point == pipe


def test_a_seal_is_told_in_the_readers_language(visit, typed, office):
    complete(visit, typed, office)
    at = dt.datetime(2026, 7, 1, 9, 30, tzinfo=timezone.get_default_timezone())
    visits.seal_visit(visit=visit, by=office, now=at)
    with translation.override("de"), pytest.raises(ValidationError) as refused:
        visits.seal_visit(visit=visit, by=office, now=timezone.now())
    assert "am 1. Juli 2026 09:30 von" in refused.value.messages[0]


@pytest.mark.parametrize(("language", "name"), [("en", "follow-up 1"), ("de", "Nachmessung 1")])
def test_a_visit_is_named_in_the_language_of_the_letters(office, language, name):
    home = PropertyFactory(client__language=language)
    with translation.override("de" if language == "en" else "en"):
        planned = visits.plan_visit(home=home, kind="follow-up", day=BASELINE_DAY, by=office)
    assert planned.label == name
