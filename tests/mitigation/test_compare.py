"""The comparison of two visits, from rows to the outcome."""

import datetime as dt
import json

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext

from consult.models import Property
from mitigation.comparison import RULES, compare
from mitigation.models import CaseVisit
from surveys.models import GroundPoint, Instrument, Measurand, Reading, Visit
from tests.factories import (
    CalibrationFactory,
    CaseFactory,
    SpotFactory,
    VisitFactory,
    add_reading,
    as_if_so_from_the_start,
    compared_case,
)

pytestmark = pytest.mark.django_db


def only(case):
    (spot,) = compare(case).as_json()["spots"]
    return spot


def follow_up(case) -> Visit:
    return case.visits.get(kind="follow-up")


def baseline(case) -> Visit:
    return case.visits.get(kind="baseline")


def test_a_spot_by_hand() -> None:
    # Hand calculation, g = 0.03, p = 0.05, a = 0.1/sqrt(12) = 0.0288675:
    # u(48) = sqrt(48²·(0.03² + 0.05²) + a²) = 2.79901; u(2.4) = 0.142889
    # sigma² = 2·0.05² + (a/48)² + (a/2.4)² = 0.00514504, the gain cancels: one certificate
    # ends of the reduction: 100·(1 - 0.05·exp(±2·0.0717289)) = 94.2287 and 95.6682
    spot = only(compared_case(48.0, 2.4))
    assert spot["before"]["u"] == pytest.approx(2.79901, rel=1e-5)
    assert spot["after"]["u"] == pytest.approx(0.142889, rel=1e-5)
    assert (spot["before"]["band"], spot["after"]["band"]) == (3, 2)
    change = spot["reduction"]
    assert change["percent"] == pytest.approx(95.0, rel=1e-12)
    assert change["percent_low"] == pytest.approx(94.2287, abs=1e-4)
    assert change["percent_high"] == pytest.approx(95.6682, abs=1e-4)
    assert change["db"] == pytest.approx(26.0206, abs=1e-4)  # 20·log10(20)
    assert change["real"] is True and change["at_least"] is False
    assert spot["target"]["limit"] == 5.0
    assert spot["target"]["decision"] == "pass"
    assert spot["comparable"] is True and spot["blocks"] == [] and spot["cautions"] == []


def test_two_certificates_widen_the_interval() -> None:
    case = compared_case()
    narrow = only(case)["reduction"]
    other = CalibrationFactory(certificate="K-200", calibrated_on=dt.date(2026, 4, 1))
    as_if_so_from_the_start(follow_up(case).readings, calibration=other)
    wide = only(case)["reduction"]
    # sigma² grows by 2·0.03² = 0.0018 to 0.00694504: 0.05·exp(2·0.0833369) = 0.0590677
    assert wide["percent_low"] == pytest.approx(94.0932, abs=1e-4)
    assert wide["percent_low"] < narrow["percent_low"]


def test_a_rise_is_negative_and_counts_as_worse() -> None:
    outcome = compare(compared_case(2.0, 20.0)).as_json()
    assert outcome["spots"][0]["reduction"]["percent"] == pytest.approx(-900.0)
    assert outcome["summary"] == {
        "spots": 1, "met": 0, "not_met": 1, "undecided": 0, "worse": 1,
    }  # fmt: skip


def test_ground_and_potential_free_are_never_mixed() -> None:
    case = compared_case()
    as_if_so_from_the_start(
        follow_up(case).readings, measurand=Measurand.ELECTRIC_FIELD_POTENTIAL_FREE
    )
    outcome = compare(case).as_json()
    assert [spot["blocks"] for spot in outcome["spots"]] == [["different measurand"]] * 2
    assert [spot["reduction"] for spot in outcome["spots"]] == [None, None]
    ground, free = outcome["spots"]
    assert ground["after"] is None and ground["target"]["decision"] == "undecided"
    # 2.4 V/m potential-free against a limit of 1.5 V/m: the decision needs the after value alone.
    assert free["before"] is None and free["target"]["decision"] == "fail"


def test_a_certificate_that_ran_out_blocks_and_leaves_the_target_undecided() -> None:
    case = compared_case()
    row = follow_up(case).readings.get().calibration
    row.due_on = follow_up(case).date
    row.save()
    assert only(case)["comparable"] is True  # the due day is the last good one
    row.due_on -= dt.timedelta(days=1)
    row.save()
    spot = only(case)
    assert spot["blocks"] == ["instrument out of calibration on the day of its visit"]
    assert spot["reduction"] is None
    assert spot["target"] == {"limit": 5.0, "probability": None, "decision": "undecided"}


def test_an_instrument_without_a_certificate_blocks() -> None:
    case = compared_case()
    bare = CalibrationFactory(certificate="", calibrated_on=None, due_on=None)
    as_if_so_from_the_start(follow_up(case).readings, calibration=bare)
    assert only(case)["blocks"] == ["instrument without a certificate"]


def test_readings_set_aside_and_trials_do_not_count() -> None:
    case = compared_case()
    visit = follow_up(case)
    reading = visit.readings.get()
    add_reading(visit, reading.spot, reading.calibration, total=40.0, state="trial")
    add_reading(visit, reading.spot, reading.calibration, total=30.0, set_aside="lamp on")
    assert only(case)["after"]["value"] == 2.4
    add_reading(visit, reading.spot, reading.calibration, total=3.0)
    assert only(case)["after"]["value"] == 3.0


def test_nothing_left_at_the_other_visit() -> None:
    case = compared_case()
    as_if_so_from_the_start(follow_up(case).readings, set_aside="wrong spot")
    spot = only(case)
    assert spot["after"] is None
    assert spot["blocks"] == ["no reading left at the other visit"]


def test_below_detection_says_at_least() -> None:
    case = compared_case()
    as_if_so_from_the_start(follow_up(case).readings, total=0.3, total_mark="<")
    spot = only(case)
    assert spot["after"]["qualifier"] == "<"
    assert spot["reduction"]["at_least"] is True and spot["comparable"] is True
    assert spot["target"]["decision"] == "pass" and spot["target"]["probability"] is None


def test_over_range_before_says_at_least_and_after_says_nothing() -> None:
    case = compared_case()
    as_if_so_from_the_start(baseline(case).readings, total_mark=">")
    assert only(case)["reduction"]["at_least"] is True
    as_if_so_from_the_start(follow_up(case).readings, total_mark=">")
    spot = only(case)
    assert spot["reduction"] is None and spot["comparable"] is True
    assert spot["target"]["decision"] == "undecided"


def test_units_of_the_display_are_converted() -> None:
    case = compared_case()
    as_if_so_from_the_start(
        Reading.objects.all(), measurand=Measurand.MAGNETIC_FLUX_DENSITY, unit="mG"
    )
    spot = only(case)
    assert spot["before"]["value"] == 4800.0 and spot["unit"] == "nT"
    assert spot["target"]["limit"] == 100.0


@pytest.mark.parametrize(
    ("change", "caution"),
    [
        ({"visit": {"humidity_percent": 71.0}}, "humidity above 70 %"),
        ({"visit": {"supply_voltage_v": 217.0}}, "supply voltage differs by more than 5 %"),
        ({"reading": {"instrument": "other"}}, "other instrument"),
        ({"reading": {"ground_point": "pipe"}}, "other ground point"),
        ({"more": True}, "fewer readings than at the baseline"),
        ({"more": "pipe"}, "fewer ground points than at the baseline"),
        ({"free": {"body_distance_m": 1.4}}, "body nearer than 1.5 m"),
        ({"free": {"surface_distance_m": 0.09}}, "surface nearer than 10 cm"),
        ({"magnetic": {"load": "oven on"}}, "other load"),
    ],
)
def test_cautions(change, caution) -> None:
    case = compared_case()
    as_if_so_from_the_start(Visit.objects.all(), humidity_percent=70.0, supply_voltage_v=230.0)
    home = Property.objects.get()
    pipe = GroundPoint.objects.create(property=home, name="pipe")
    socket = GroundPoint.objects.create(property=home, name="socket")
    as_if_so_from_the_start(
        Reading.objects.all(),
        ground_point=socket,
        body_distance_m=1.5,
        surface_distance_m=0.1,
        load="fridge",
    )
    if "free" in change:
        as_if_so_from_the_start(
            Reading.objects.all(), measurand=Measurand.ELECTRIC_FIELD_POTENTIAL_FREE
        )
    if "magnetic" in change:
        as_if_so_from_the_start(Reading.objects.all(), measurand=Measurand.MAGNETIC_FLUX_DENSITY)
    assert only(case)["cautions"] == []

    last = follow_up(case)
    as_if_so_from_the_start(Visit.objects.filter(pk=last.pk), **change.get("visit", {}))
    fields = {
        **change.get("reading", {}), **change.get("free", {}), **change.get("magnetic", {})
    }  # fmt: skip
    if "instrument" in fields:
        fields["instrument"] = Instrument.objects.create(name="field meter B")
    if "ground_point" in fields:
        fields["ground_point"] = pipe
    if fields:
        as_if_so_from_the_start(last.readings, **fields)
    if "more" in change:
        first = baseline(case).readings.get()
        point = pipe if change["more"] == "pipe" else socket
        add_reading(baseline(case), first.spot, first.calibration, total=1.0, ground_point=point)
    assert caution in only(case)["cautions"]


def test_the_latest_visit_of_a_kind_counts_as_a_whole() -> None:
    case = compared_case()
    reading = follow_up(case).readings.get()
    later = VisitFactory(
        property=case.property, kind="follow-up", date=follow_up(case).date + dt.timedelta(days=9)
    )
    CaseVisit.objects.create(case=case, visit=later)
    add_reading(later, SpotFactory(home=case.property), reading.calibration, total=1.2)
    spots = compare(case).as_json()["spots"]
    assert [spot["after"] and spot["after"]["value"] for spot in spots] == [None, 1.2]


def test_on_equal_dates_the_first_row_counts() -> None:
    case = compared_case()
    reading = follow_up(case).readings.get()
    same_day = VisitFactory(property=case.property, kind="follow-up", position=1)
    CaseVisit.objects.create(case=case, visit=same_day)
    add_reading(same_day, reading.spot, reading.calibration, total=1.2)
    assert only(case)["after"]["value"] == 2.4


def test_what_was_measured_before_the_baseline_is_too_early() -> None:
    case = compared_case(48.0, 2.4)
    late = follow_up(case).date + dt.timedelta(days=1)
    as_if_so_from_the_start(case.visits.filter(kind="baseline"), date=late)
    found = compare(case)
    assert found.follow_up == follow_up(case) and found.is_too_early
    # On the same day both count, in the same home.
    as_if_so_from_the_start(case.visits.filter(kind="baseline"), date=follow_up(case).date)
    found = compare(case)
    assert found.follow_up == follow_up(case) and not found.is_too_early
    assert only(case)["reduction"]["percent"] == pytest.approx(95.0, rel=1e-12)


def test_a_second_baseline_waits_for_a_follow_up_of_its_own() -> None:
    case = compared_case(48.0, 2.4)
    second = VisitFactory.create(property=case.property, date=dt.date(2026, 6, 1))
    CaseVisit.objects.create(case=case, visit=second)
    add_reading(second, SpotFactory(home=case.property), CalibrationFactory.create(), total=9.0)
    assert compare(case).baseline == second and compare(case).is_too_early
    again = VisitFactory.create(
        property=case.property, kind="follow-up", date=dt.date(2026, 6, 20), label="again"
    )
    CaseVisit.objects.create(case=case, visit=again)
    found = compare(case)
    assert (found.baseline, found.follow_up) == (second, again) and not found.is_too_early


def test_a_case_without_visits_is_empty_not_an_error() -> None:
    outcome = compare(CaseFactory()).as_json()
    assert outcome["spots"] == []
    assert outcome["summary"]["spots"] == 0


def test_queries_do_not_grow_with_the_readings() -> None:
    case = compared_case()
    with CaptureQueriesContext(connection) as few:
        compare(case)
    reading = follow_up(case).readings.get()
    for _n in range(20):
        spot = SpotFactory(home=case.property)
        for visit in case.visits.all():
            add_reading(visit, spot, reading.calibration, total=5.0)
    with CaptureQueriesContext(connection) as many:
        assert len(compare(case).rows) == 21
    assert len(many) == len(few)


def test_the_command_prints_strict_json_and_a_table(capsys) -> None:
    case = compared_case()
    call_command("outcome", case.reference, "--format", "json")
    printed = json.loads(capsys.readouterr().out)
    assert printed == compare(case).as_json()
    assert printed["rules"] == list(RULES)
    call_command("outcome", case.reference)
    table = capsys.readouterr().out
    assert "48 ± 6" in table and "95.0 % (94.2 to 95.7)" in table and "met (limit 5)" in table


def test_an_unknown_case_is_said_so() -> None:
    with pytest.raises(CommandError, match="no case 'nowhere'"):
        call_command("outcome", "nowhere")
