"""What is said before a seal that does not forbid it: nothing can be added afterwards."""

import datetime as dt

import pytest
from django.urls import reverse

from surveys.models import GroundCheck, GroundPoint, Measurand
from surveys.services.repeat import cautions_before_sealing
from tests.factories import (
    FOLLOW_UP_DAY,
    CalibrationFactory,
    PropertyFactory,
    SpotFactory,
    UserFactory,
    VisitFactory,
    add_reading,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def visits():
    home = PropertyFactory()
    return (
        VisitFactory(property=home),
        VisitFactory(
            property=home, kind="follow-up", sealed_at=None, assessor="A. Brook",
            supply_voltage_v=230.0, humidity_percent=40.0,
        ),
    )  # fmt: skip


def read(visit, spot, calibration, **fields):
    free = {"measurand": Measurand.ELECTRIC_FIELD_POTENTIAL_FREE}
    return add_reading(visit, spot, calibration, **({"total": 4.0} | free | fields))


def test_what_the_baseline_read_and_the_follow_up_did_not_is_told(visits):
    baseline, follow_up = visits
    meter = CalibrationFactory()
    bed, desk = SpotFactory(home=baseline.property), SpotFactory(home=baseline.property)
    for spot in (bed, desk):
        read(baseline, spot, meter)
    assert cautions_before_sealing(baseline, baseline) == []
    read(follow_up, bed, meter)
    assert cautions_before_sealing(follow_up, baseline) == [
        f"The baseline read 1 thing that has not been read again: Bedroom, {desk.name} "
        "(Electric field, potential-free). No reduction can be given for it."
    ]
    read(follow_up, desk, meter, state="trial")
    missing, trials = cautions_before_sealing(follow_up, baseline)
    assert "has not been read again" in missing
    assert trials == f"1 trial, which does not count: Bedroom, {desk.name} (3)."
    read(follow_up, desk, meter)
    assert cautions_before_sealing(follow_up, baseline) == [trials]


def test_what_does_not_count_is_listed_by_spot(visits):
    baseline, _follow_up = visits
    meter = CalibrationFactory()
    bed, desk = SpotFactory(home=baseline.property), SpotFactory(home=baseline.property)
    for spot, fields in (
        (bed, {"state": "trial"}), (desk, {}), (bed, {"state": "trial"}),
        (desk, {"state": "trial"}), (desk, {"set_aside": "hand moved"}),
    ):  # fmt: skip
        read(baseline, spot, meter, **fields)
    assert cautions_before_sealing(baseline, baseline) == [
        f"3 trials, which do not count: Bedroom, {bed.name} (2, 4); Bedroom, {desk.name} (5).",
        f"1 reading set aside: Bedroom, {desk.name} (6).",
    ]


def test_a_faulty_ground_point_is_named_with_what_stands_on_it(visits):
    baseline, _follow_up = visits
    meter = CalibrationFactory()
    bed, desk = SpotFactory(home=baseline.property), SpotFactory(home=baseline.property)
    outlet, pipe = (
        GroundPoint.objects.create(property=baseline.property, name=name)
        for name in ("outlet", "pipe")
    )
    ground = {"measurand": Measurand.ELECTRIC_FIELD_GROUND}
    read(baseline, bed, meter, ground_point=outlet, **ground)
    read(baseline, desk, meter, ground_point=pipe, **ground)
    GroundCheck.objects.create(visit=baseline, point=pipe, outlet_test="ok")
    assert cautions_before_sealing(baseline, baseline) == []
    GroundCheck.objects.create(visit=baseline, point=outlet, outlet_test="fault")
    assert cautions_before_sealing(baseline, baseline) == [
        "Ground point outlet was found faulty. What was read against it proves nothing: "
        f"Bedroom, {bed.name}."
    ]


def test_another_instrument_or_ground_point_is_no_missing_spot(visits):
    baseline, follow_up = visits
    bed = SpotFactory(home=baseline.property)
    read(baseline, bed, CalibrationFactory())
    read(follow_up, bed, CalibrationFactory())
    assert cautions_before_sealing(follow_up, baseline) == []


@pytest.mark.parametrize(("days", "is_told"), [(-1, True), (0, False)])
def test_a_certificate_that_ended_the_day_before_is_told(visits, days, is_told):
    _baseline, follow_up = visits
    meter = CalibrationFactory(due_on=FOLLOW_UP_DAY + dt.timedelta(days=days))
    read(follow_up, SpotFactory(home=follow_up.property), meter)
    said = cautions_before_sealing(follow_up, None)
    told = [
        "No certificate of field meter A was in force on the day: with its readings no target can "
        "be decided, and no reduction given."
    ]
    assert said == (told if is_told else [])


def test_a_certificate_that_was_entered_meanwhile_counts_as_it_will_at_the_seal(visits):
    _baseline, follow_up = visits
    meter = CalibrationFactory(due_on=FOLLOW_UP_DAY - dt.timedelta(days=1))
    read(follow_up, SpotFactory(home=follow_up.property), meter)
    assert len(cautions_before_sealing(follow_up, None)) == 1
    CalibrationFactory(calibrated_on=FOLLOW_UP_DAY, due_on=None, certificate="K-101")
    assert cautions_before_sealing(follow_up, None) == []


def test_the_page_says_it_beside_the_seal_and_seals_all_the_same(visits, client):
    baseline, follow_up = visits
    meter, bed = CalibrationFactory(), SpotFactory(home=baseline.property)
    desk = SpotFactory(home=baseline.property)
    for spot in (bed, desk):
        read(baseline, spot, meter)
    read(follow_up, bed, meter)
    client.force_login(UserFactory())
    page = client.get(reverse("visit_detail", args=[follow_up.pk]))
    seal = page.content.decode().split('id="seal"')[1]
    assert "has not been read again" in seal and "Nothing is missing" in seal
    sure = {"sure": "on", "seen": page.context["seen"]}
    client.post(reverse("visit_seal", args=[follow_up.pk]), sure)
    follow_up.refresh_from_db()
    assert follow_up.sealed_at is not None
    sealed = client.get(reverse("visit_detail", args=[follow_up.pk])).content.decode()
    assert "has not been read again" not in sealed
