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
from surveys.models import GroundCheck, GroundPoint, Instrument, Measurand, Reading, Visit
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
    assert spot["comparable"] is True and spot["blocks"] == []
    assert spot["cautions"] == ["no ground point named"]
    assert (spot["before_on"], spot["after_on"]) == ("2026-03-02", "2026-05-18")


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


def test_over_range_before_says_at_least_and_on_both_sides_nothing() -> None:
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
    for visit in Visit.objects.all():
        for point in (pipe, socket):
            GroundCheck.objects.create(visit=visit, point=point, outlet_test="ok")
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


def another_visit(case, **fields) -> Visit:
    visit = VisitFactory.create(property=case.property, **fields)
    CaseVisit.objects.create(case=case, visit=visit)
    return visit


def test_a_second_round_keeps_what_it_did_not_measure_again() -> None:
    """latest-1: the follow-up that tried one spot again leaves the others as they were."""
    case = compared_case(48.0, 2.4)
    first = follow_up(case)
    reading = first.readings.get()
    bad = SpotFactory(home=case.property, name="desk")
    add_reading(baseline(case), bad, reading.calibration, total=30.0)
    add_reading(first, bad, reading.calibration, total=20.0)
    day = first.date + dt.timedelta(days=40)
    again = another_visit(case, kind="follow-up", date=day, label="again")
    add_reading(again, bad, reading.calibration, total=3.0)
    comparison = compare(case)
    outcome = comparison.as_json()
    assert [spot["after"]["value"] for spot in outcome["spots"]] == [2.4, 3.0]
    assert [spot["after_on"] for spot in outcome["spots"]] == ["2026-05-18", day.isoformat()]
    assert outcome["summary"]["met"] == 2
    assert comparison.follow_up == again and comparison.counting == (baseline(case), first, again)
    assert "latest-1" in outcome["rules"]


def test_a_visit_whose_readings_do_not_count_takes_nothing_away() -> None:
    case = compared_case(48.0, 2.4)
    reading = follow_up(case).readings.get()
    for fields in ({"state": "trial"}, {"set_aside": "hand moved"}):
        later = another_visit(case, kind="follow-up", date=dt.date(2026, 7, 1), label=str(fields))
        add_reading(later, reading.spot, reading.calibration, total=9.0, **fields)
    assert only(case)["after"]["value"] == 2.4


def test_each_measurand_of_a_spot_counts_for_itself() -> None:
    case = compared_case(48.0, 2.4)
    spot = follow_up(case).readings.get().spot
    later = another_visit(case, kind="follow-up", date=dt.date(2026, 7, 1))
    flux = CalibrationFactory(quantity="magnetic flux density", unit="nT")
    add_reading(later, spot, flux, measurand=Measurand.MAGNETIC_FLUX_DENSITY, unit="nT", total=50.0)
    field, flux_density = compare(case).as_json()["spots"]
    assert (field["after_on"], flux_density["after_on"]) == ("2026-05-18", "2026-07-01")


def test_an_open_visit_counts_for_nothing() -> None:
    case = compared_case(48.0, 2.4)
    reading = follow_up(case).readings.get()
    later = another_visit(case, kind="follow-up", date=dt.date(2026, 7, 1), sealed_at=None)
    add_reading(later, reading.spot, reading.calibration, total=9.0)
    assert only(case)["after"]["value"] == 2.4


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
    comparison = compare(case)
    assert comparison.follow_up == follow_up(case) and comparison.is_too_early
    # On the same day both count, in the same home.
    as_if_so_from_the_start(case.visits.filter(kind="baseline"), date=follow_up(case).date)
    comparison = compare(case)
    assert comparison.follow_up == follow_up(case) and not comparison.is_too_early
    assert only(case)["reduction"]["percent"] == pytest.approx(95.0, rel=1e-12)


def test_a_later_baseline_adds_a_room() -> None:
    case = compared_case(48.0, 2.4)
    second = another_visit(case, date=dt.date(2026, 6, 1))
    add_reading(second, SpotFactory(home=case.property), CalibrationFactory.create(), total=9.0)
    comparison = compare(case)
    assert comparison.baseline == second and not comparison.is_too_early
    old, new = comparison.as_json()["spots"]
    assert old["reduction"]["percent"] == pytest.approx(95.0, rel=1e-12)
    assert old["before_on"] == "2026-03-02" and new["before_on"] == "2026-06-01"
    assert new["after"] is None and new["after_on"] is None


def test_what_was_measured_anew_before_is_not_compared_with_an_older_after() -> None:
    case = compared_case(48.0, 2.4)
    reading = baseline(case).readings.get()
    second = another_visit(case, date=dt.date(2026, 6, 1))
    add_reading(second, reading.spot, reading.calibration, total=30.0)
    spot = only(case)
    assert spot["before"]["value"] == 30.0
    assert spot["blocks"] == ["follow-up before baseline"]
    assert spot["reduction"] is None and spot["comparable"] is False
    assert spot["target"]["decision"] == "pass"  # the decision needs the after value alone
    again = another_visit(case, kind="follow-up", date=dt.date(2026, 6, 20), label="again")
    add_reading(again, reading.spot, reading.calibration, total=3.0)
    assert only(case)["reduction"]["percent"] == pytest.approx(90.0, rel=1e-12)


# -- Ground points --------------------------------------------------------------------------------


def on_point(visit: Visit, name: str, **check) -> GroundPoint:
    """The readings of the visit stand on a point that was checked there, if a check is given."""
    point, _new = GroundPoint.objects.get_or_create(property=visit.property, name=name)
    as_if_so_from_the_start(visit.readings, ground_point=point)
    if check:
        other = check.pop("other", None)
        GroundCheck.objects.create(
            visit=visit,
            point=point,
            other_point=other and GroundPoint.objects.create(property=visit.property, name=other),
            **check,
        )
    return point


FAULTY = "ground point found faulty"
FAR = "ground point at more than 50 V to another"


@pytest.mark.parametrize(
    ("check", "block"),
    [
        ({"outlet_test": "fault"}, FAULTY),
        ({"voltage_v": 50.1, "other": "rod"}, FAR),
        ({"voltage_v": -80.0, "other": "rod"}, FAR),
        ({"voltage_v": 50.0, "other": "rod"}, None),
        ({"outlet_test": "ok"}, None),
    ],
)
@pytest.mark.parametrize("side", ["baseline", "follow-up"])
@pytest.mark.parametrize("measurand", [Measurand.ELECTRIC_FIELD_GROUND, Measurand.BODY_VOLTAGE])
def test_a_faulty_ground_point_proves_nothing(check, block, side, measurand) -> None:
    case = compared_case(48.0, 2.4)
    if measurand == Measurand.BODY_VOLTAGE:
        volts = CalibrationFactory(quantity="body voltage", unit="mV")
        as_if_so_from_the_start(
            Reading.objects.all(), measurand=measurand, unit="mV",
            calibration=volts, instrument=volts.instrument,
        )  # fmt: skip
    on_point(case.visits.get(kind=side), "socket", **check)
    spot = only(case)
    assert spot["blocks"] == ([block] if block else [])
    assert (spot["reduction"] is None) == bool(block)
    is_open = bool(block) and side == "follow-up"
    assert (spot["target"]["decision"] == "undecided") == is_open
    assert (spot["target"]["probability"] is None) == is_open


def test_the_other_point_of_a_high_voltage_is_no_better() -> None:
    case = compared_case(48.0, 2.4)
    rod = GroundPoint.objects.create(property=case.property, name="rod")
    pipe = on_point(follow_up(case), "pipe")
    GroundCheck.objects.create(visit=follow_up(case), point=rod, other_point=pipe, voltage_v=61.0)
    assert only(case)["blocks"] == [FAR]


def test_a_faulty_point_is_of_no_concern_where_nothing_is_read_against_it() -> None:
    case = compared_case(48.0, 2.4)
    as_if_so_from_the_start(
        Reading.objects.all(), measurand=Measurand.ELECTRIC_FIELD_POTENTIAL_FREE
    )
    on_point(follow_up(case), "socket", outlet_test="fault")
    assert only(case)["blocks"] == [] and only(case)["target"]["decision"] != "undecided"


def test_a_fault_of_another_visit_or_point_is_not_this_ones() -> None:
    case = compared_case(48.0, 2.4)
    point = on_point(follow_up(case), "socket", outlet_test="ok")
    GroundCheck.objects.create(visit=baseline(case), point=point, outlet_test="fault")
    other = GroundPoint.objects.create(property=case.property, name="kitchen")
    GroundCheck.objects.create(visit=follow_up(case), point=other, outlet_test="fault")
    assert only(case)["blocks"] == []


def test_beside_a_faulty_point_a_lower_reading_on_another_counts() -> None:
    """highest-2."""
    case = compared_case(48.0, 2.4)
    last = follow_up(case)
    reading = last.readings.get()
    on_point(last, "socket", outlet_test="fault")
    pipe = GroundPoint.objects.create(property=case.property, name="pipe")
    add_reading(last, reading.spot, reading.calibration, total=1.1, ground_point=pipe)
    spot = only(case)
    assert (spot["after"]["value"], spot["blocks"]) == (1.1, [])
    GroundCheck.objects.create(visit=last, point=pipe, outlet_test="fault")
    assert only(case)["after"]["value"] == 2.4


@pytest.mark.parametrize(
    ("change", "caution"),
    [
        ({}, "no ground point named"),
        ({"point": {}}, "ground point not tried at that visit"),
        ({"point": {"outlet_test": "not tested"}}, "ground point not tried at that visit"),
        ({"point": {"outlet_test": "ok"}}, None),
        ({"point": {"voltage_v": 2.0, "other": "rod"}}, None),
        ({"reading": {"circuits_off": "3"}}, "circuits off while read as used"),
    ],
)
def test_a_caution_of_one_side_needs_no_other(change, caution) -> None:
    case = compared_case()
    baseline(case).readings.all()
    as_if_so_from_the_start(follow_up(case).readings, state="trial")
    as_if_so_from_the_start(baseline(case).readings, **change.get("reading", {}))
    if "point" in change:
        on_point(baseline(case), "socket", **change["point"])
    spot = only(case)
    assert spot["after"] is None
    assert caution in spot["cautions"] if caution else spot["cautions"] == []


def test_damp_air_is_no_matter_of_the_magnetic_field() -> None:
    case = compared_case()
    as_if_so_from_the_start(Visit.objects.filter(kind="baseline"), humidity_percent=80.0)
    assert "humidity above 70 %" in only(case)["cautions"]
    as_if_so_from_the_start(follow_up(case).readings, state="trial")
    assert "humidity above 70 %" in only(case)["cautions"]
    as_if_so_from_the_start(Reading.objects.all(), measurand=Measurand.MAGNETIC_FLUX_DENSITY)
    assert "humidity above 70 %" not in only(case)["cautions"]


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
