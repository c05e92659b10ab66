"""A danger that a later visit found in order is told as past, and any other still stops."""

import pytest
from django.urls import reverse
from django.utils import timezone

from surveys.models import GroundCheck, GroundPoint
from surveys.results.dangers import dangers_by_now, dangers_of
from tests.factories import (
    FOLLOW_UP_DAY,
    UserFactory,
    add_reading,
    as_if_so_from_the_start,
    compared_case,
    issue_outcome_letter,
)

pytestmark = pytest.mark.django_db

KINDS = ("outlet", "ground points", "field")


@pytest.fixture
def case():
    """A baseline that met each kind of danger; a follow-up at which nothing was tried again."""
    case = compared_case()
    baseline = case.visits.get(kind="baseline")
    pipe, rod, outlet = (
        GroundPoint.objects.create(property=case.property, name=name)
        for name in ("water pipe", "garden rod", "hall outlet")
    )
    GroundCheck.objects.create(visit=baseline, point=outlet, outlet_test="fault")
    GroundCheck.objects.create(visit=baseline, point=pipe, other_point=rod, voltage_v=62.5)
    reading = baseline.readings.get()
    add_reading(baseline, reading.spot, reading.calibration, total=5200.0, position=50)
    follow_up = case.visits.get(kind="follow-up")
    as_if_so_from_the_start(follow_up.readings.all(), state="trial")
    return case


def check(case, point, **fields):
    points = {one.name: one for one in GroundPoint.objects.filter(property=case.property)}
    visit = case.visits.get(kind="follow-up")
    other = points.get(fields.pop("other", ""))
    return GroundCheck.objects.create(visit=visit, point=points[point], other_point=other, **fields)


def read_again(case, **fields):
    first = case.visits.get(kind="baseline").readings.get(total=5200.0)
    visit = case.visits.get(kind="follow-up")
    return add_reading(visit, first.spot, first.calibration, **({"total": 2.4} | fields))


def by_kind(case):
    found = {one.kind: one.over_on for one in dangers_by_now(list(case.visits.all()))}
    assert set(found) == set(KINDS)
    return found


def test_what_nobody_tried_again_is_not_over(case):
    assert by_kind(case) == dict.fromkeys(KINDS)
    check(case, "hall outlet", outlet_test="not tested")
    check(case, "garden rod", outlet_test="ok")
    check(case, "water pipe", voltage_v=3.0)  # against nothing that is named
    check(case, "hall outlet", other="water pipe", voltage_v=3.0)
    assert by_kind(case) == dict.fromkeys(KINDS)


def test_what_was_in_order_at_a_later_visit_is_over_since_then(case):
    check(case, "hall outlet", outlet_test="ok")
    assert by_kind(case) == {"outlet": FOLLOW_UP_DAY, "ground points": None, "field": None}
    check(case, "garden rod", other="water pipe", voltage_v=50.0)  # either way round
    read_again(case)
    assert by_kind(case) == dict.fromkeys(KINDS, FOLLOW_UP_DAY)
    # At the visit itself it stands as it was found.
    assert len(dangers_of(case.visits.get(kind="baseline"))) == 3


@pytest.mark.parametrize(
    "reading",
    [
        {"total": 4000.0, "total_mark": ">"},  # nobody knows how much over
        {"set_aside": "the lamp was off"},
        {"state": "trial"},
        {"total": 5001.0},
    ],
)
def test_a_reading_that_proves_nothing_ends_no_danger(case, reading):
    read_again(case, **reading)
    assert by_kind(case)["field"] is None


def test_a_fault_beside_an_ok_at_the_same_visit_still_stops(case):
    check(case, "hall outlet", outlet_test="ok")
    check(case, "hall outlet", outlet_test="fault")
    found = [one for one in dangers_by_now(list(case.visits.all())) if one.kind == "outlet"]
    assert [one.over_on for one in found] == [None, None]


def test_an_earlier_ok_ends_no_later_fault(case):
    follow_up = case.visits.get(kind="follow-up")
    as_if_so_from_the_start(case.visits.filter(pk=follow_up.pk), date="2026-01-01")
    check(case, "hall outlet", outlet_test="ok")
    assert by_kind(case)["outlet"] is None


def test_the_case_page_stops_for_what_still_stands_alone(case, client):
    client.force_login(UserFactory())
    url = reverse("case_detail", args=[case.reference])

    def stop():
        page = client.get(url).content.decode()
        return (
            page.split('class="stop"')[1].split("</section>")[0] if 'class="stop"' in page else ""
        )

    for place in ("hall outlet", "garden rod", "5200"):
        assert place in stop()
    check(case, "hall outlet", outlet_test="ok")
    assert "hall outlet" not in stop() and "garden rod" in stop()
    page = client.get(url).content.decode()
    assert "Fault found and repaired" in page
    assert "Faulty outlet: hall outlet (March 2, 2026); in order on May 18, 2026" in page
    check(case, "garden rod", other="water pipe", voltage_v=1.0)
    read_again(case)
    assert stop() == ""


def test_the_letter_tells_what_is_over_and_asks_for_no_electrician(case):
    def client_part():
        letter = issue_outcome_letter(case=case, by=None, now=timezone.now())
        notes = [one for one in letter.content["client"] if one["type"] == "note"]
        return {one["title"]: " ".join(one["entries"]) for one in notes}

    stop, over = "Stop: keep clear, and call a licensed electrician", "Fault found and repaired"
    assert "hall outlet" in client_part()[stop] and over not in client_part()
    check(case, "hall outlet", outlet_test="ok")
    said = client_part()
    assert "hall outlet" not in said[stop] and "62.5" in said[stop]
    assert said[over] == (
        "2 March 2026: The outlet test at hall outlet found a fault. "
        "Tested again on 18 May 2026 it was in order."
    )
    check(case, "garden rod", other="water pipe", voltage_v=1.0)
    read_again(case)
    said = client_part()
    assert stop not in said and "5200" in said[over] and "62.5" in said[over]
