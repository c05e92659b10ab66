"""`manage.py plan`: the JSON of a plan, for folders with a trial."""

import io
import json

import numpy as np
import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone

from mitigation.services.exports import export_case_folder
from mitigation.services.imports import import_case_folder
from surveys.intake import Upload
from tests.mitigation.planned_homes import (
    SPLIT,
    THREE,
    every_state,
    field_rows,
    folder,
    three_circuits,
    upload,
)

pytestmark = pytest.mark.django_db


def bring_in(files):
    return import_case_folder(source=upload(files), by=None, now=timezone.now()).case


def plan(case, *options):
    out = io.StringIO()
    call_command("plan", case.reference, "--format", "json", *options, stdout=out)
    return json.loads(out.getvalue())


@pytest.fixture
def three():
    return bring_in(three_circuits())


def test_all_items_on_nothing_is_the_finding(three) -> None:
    row = plan(three, "--items", "")["rows"][0]
    assert row["basis"] == "none" and row["ratio"]["median"] == 1.0
    assert row["predicted"]["median"] == pytest.approx(row["before"], rel=0.01)
    assert row["predicted"]["probability"] == 0.0 and row["unknown"] == []


def test_a_switch_leaves_what_the_others_make(three) -> None:
    row = plan(three, "--items", "R1")["rows"][0]
    rest = np.array([18.3, 4.1, 1.6])
    whole = np.array([42.3, 10.1, 4.6])
    assert row["basis"] == "attribution-1" and row["checkable"]
    # 40 dB leaves 1 % of circuit F1; the display rounds to 0.1 V/m.
    wanted = np.linalg.norm(rest + 0.01 * np.array(THREE["F1"])) / np.linalg.norm(whole)
    assert row["ratio"]["median"] == pytest.approx(wanted, rel=0.02)
    assert row["ratio"]["low"] < row["ratio"]["median"] < row["ratio"]["high"]


def test_the_cheapest_plan_that_holds_the_bed_is_chosen(three) -> None:
    """All three circuits have to go: what stays is then 0.3 V/m; the target is under 1.5 V/m."""
    forecast = plan(three)
    assert forecast["plan"]["items"] == ["R1", "R2", "R3"]
    assert (
        forecast["plan"]["cost"] == 750.0
        and forecast["plan"]["reached"]
        and forecast["plan"]["proven"]
    )
    assert [step["held"] for step in forecast["steps"]] == [0, 1]
    assert forecast["steps"][0] == {"held": 0, "cost": 0.0, "items": []}
    row = forecast["rows"][0]
    assert row["predicted"]["probability"] >= 0.9
    # Each switch works nine times of ten, and the bed needs all three.
    assert row["predicted"]["overall"] == pytest.approx(0.9**3, abs=0.03)
    assert sum(row["predicted"]["bands"]) == pytest.approx(1.0)


def test_the_same_command_gives_the_same_numbers(three) -> None:
    assert plan(three) == plan(three)


def test_an_exported_plan_comes_back_to_the_same_numbers(three) -> None:
    again = Upload("x.zip", export_case_folder(case=three))
    first = plan(three)
    three.reference = "EB-OLD"
    three.save()
    case = import_case_folder(source=again, by=None, now=timezone.now()).case
    assert case != three
    assert plan(case) == first


def test_a_circuit_that_cancels_another_is_not_opened_alone() -> None:
    """Split phase: 24 and 20 V/m against each other leave 4; opening F1 alone leaves 20."""
    amplitude = {"F1": (24.0, 0.0, 0.0), "F2": (20.0, 0.0, 0.0)}
    angle = {"F1": SPLIT["L1"], "F2": SPLIT["L2"]}
    rows = field_rows(
        "bed head", amplitude, [*every_state(["F1", "F2"]), ("F1",), ("F2",)], angle=angle
    )
    circuits = "circuit,phase\nF1,L1\nF2,L2\n"
    remedies = "item,remedy,circuits,cost\nR1,demand-switch,F1,300\nR2,demand-switch,F2,300\n"
    case = bring_in(folder(rows, circuits=circuits, remedies=remedies, phases=2))
    row = plan(case, "--items", "R1")["rows"][0]
    assert row["ratio"]["median"] == pytest.approx(20.0 / 4.0, rel=0.05)
    forecast = plan(case)
    assert forecast["plan"]["items"] == ["R1", "R2"] and forecast["plan"]["reached"]


def test_a_circuit_that_was_not_tried_makes_the_row_unknown(three) -> None:
    remedies = "item,remedy,circuits,room,cost\nR9,demand-switch,F9,Bedroom,100\n"
    case = bring_in(three_circuits(remedies, reference="EB-P2"))
    forecast = plan(case, "--items", "R9")
    row = forecast["rows"][0]
    assert row["unknown"] == ["not tried: f9"] or row["unknown"] == ["not tried: F9"]
    assert row["predicted"] is None and row["ratio"] is None
    assert forecast["plan"]["reached"] is False


def test_a_shield_never_acts_on_the_magnetic_field() -> None:
    rows = [
        *field_rows("bed head", THREE, every_state(list(THREE))),
        "before,Bedroom,bed head,sleeping,magnetic flux density,,,Cube B,,,,220,nT,as-used,",
    ]
    remedies = "item,remedy,room,cost\nR1,bonded-shield,Bedroom,500\n"
    case = bring_in(folder(rows, remedies=remedies))
    electric, magnetic = plan(case, "--items", "R1")["rows"]
    assert electric["basis"] == "spot" and magnetic["basis"] == "none"
    assert electric["ratio"]["median"] == pytest.approx(10 ** (-14 / 20), rel=0.01)
    assert magnetic["predicted"]["median"] == pytest.approx(220, rel=0.01)


def test_magnetic_trials_are_read_and_not_attributed() -> None:
    """read-state-1: with F1 off the meter shows 60 nT, with everything on 220 nT."""
    row = "before,Bedroom,bed head,sleeping,magnetic flux density,,,Cube B,,,,{},nT,{},{}"
    rows = [row.format(220, "as-used", ""), row.format(220, "trial", ""),
            row.format(60, "trial", "F1")]  # fmt: skip
    remedies = "item,remedy,circuits,effect_db,spread_db,cost\nR1,wiring-correction,F1,20,0,400\n"
    case = bring_in(folder(rows, remedies=remedies))
    prediction = plan(case, "--items", "R1")["rows"][0]
    assert prediction["basis"] == "read-state-1" and prediction["model_error"] is None
    # k = 0.1: between |0.9*60 - 0.1*220| = 32 and 0.9*60 + 0.1*220 = 76, uniformly.
    assert prediction["ratio"]["low"] * 220 == pytest.approx(32 + 0.025 * 44, rel=1e-3)
    assert prediction["ratio"]["high"] * 220 == pytest.approx(76 - 0.025 * 44, rel=1e-3)


def test_a_state_that_was_not_read_is_asked_for() -> None:
    row = "before,Bedroom,bed head,sleeping,magnetic flux density,,,Cube B,,,,{},nT,{},{}"
    rows = [row.format(220, "as-used", ""), row.format(220, "trial", ""),
            row.format(60, "trial", "F1"), row.format(200, "trial", "F2")]  # fmt: skip
    remedies = "item,remedy,circuits,cost\nR1,wiring-correction,F1;F2,400\n"
    case = bring_in(folder(rows, remedies=remedies))
    prediction = plan(case, "--items", "R1")["rows"][0]
    assert (
        prediction["unknown"] == ["read this state: F1 + F2 off"]
        and prediction["predicted"] is None
    )


def test_what_is_asked_for_wrongly_is_refused(three) -> None:
    with pytest.raises(CommandError, match="no case"):
        call_command("plan", "EB-404")
    with pytest.raises(CommandError, match=r"No item R8; this case has: R1, R2, R3, R4"):
        call_command("plan", three.reference, "--items", "R1;R8")
    with pytest.raises(CommandError, match="above 0 and at most 100"):
        call_command("plan", three.reference, "--probability", "101")


def test_the_table_says_what_is_held(three) -> None:
    out = io.StringIO()
    call_command("plan", three.reference, stdout=out)
    assert "Case EB-P1: R1, R2, R3, cost 750.00" in out.getvalue()
    assert "1 held: 750.00 (R1, R2, R3)" in out.getvalue()


FOLLOW_UP = "after,follow-up,2026-06-20,Jo Feld,48,230\n"


@pytest.mark.parametrize(
    ("item", "is_late"),
    [
        ("R1,demand-switch,F1,,done,2026-07-01", True),  # its source was tried at the spot
        ("R1,bonded-shield,,Bedroom,done differently,2026-07-01", True),
        ("R1,demand-switch,F1,,done,2026-06-20", False),  # of the same day
        ("R1,demand-switch,F9,,done,2026-07-01", False),  # was tried nowhere
        ("R1,demand-switch,F1,,accepted,2026-07-01", False),
    ],
)
def test_a_value_from_before_the_last_work_is_said_to_be(item, is_late) -> None:
    rows = field_rows("bed head", THREE, every_state(list(THREE)))
    rows.append(rows[0].replace("before,", "after,", 1))
    files = folder(rows, remedies=f"item,remedy,circuits,room,state,done_on\n{item}\n")
    files["visits.csv"] += FOLLOW_UP.encode()
    out = io.StringIO()
    call_command("outcome", bring_in(files).reference, "--format", "json", stdout=out)
    (spot,) = json.loads(out.getvalue())["spots"]
    assert ("measured before the last work was done" in spot["cautions"]) == is_late
