"""`manage.py evidence`: what kinds of remedies did at the spots that they served."""

import datetime as dt
import io
import json
import math

import numpy as np
import pytest
from django.core.management import call_command
from django.utils import timezone

from mitigation.calc.evidence import pooled
from mitigation.models import Decision, Plan, Prediction
from mitigation.services.imports import import_case_folder
from tests.mitigation.planned_homes import folder, upload

pytestmark = pytest.mark.django_db
AFTER = "after,follow-up,2026-06-20,Jo Feld,48,230\n"
HEAD = "item,remedy,circuits,room,spots,state,done_on\n"


def row(visit, value, spot="bed head", room="Bedroom", quantity="electric field,potential-free"):
    meter, unit = ("Probe E", "V/m") if quantity.startswith("e") else ("Cube B", "nT")
    return f"{visit},{room},{spot},sleeping,{quantity},,{meter},,,,{value},{unit},as-used,"


def home(number, before, after, items, rows=(), **more):
    read = [row("before", before, **more), row("after", after, **more), *rows]
    files = folder(read, remedies=HEAD + items, reference=f"EB-E{number}")
    files["visits.csv"] += AFTER.encode()
    return import_case_folder(source=upload(files), by=None, now=timezone.now()).case


def evidence():
    out = io.StringIO()
    call_command("evidence", "--format", "json", stdout=out)
    return json.loads(out.getvalue())


SHIELD = "R1,bonded-shield,,Bedroom,,done,2026-05-01\n"


def test_nothing_done_is_no_evidence() -> None:
    assert evidence() == {
        "remedies": [],
        "promises": {"rows": 0, "inside": None, "inside_low": None, "inside_high": None,
                     "brier": None, "mean_ln": None},
    }  # fmt: skip


def test_three_homes_are_pooled() -> None:
    values = [(40.0, 8.0), (30.0, 9.0), (50.0, 5.0)]
    for number, (before, after) in enumerate(values):
        home(number, before, after, SHIELD)
    (kind,) = evidence()["remedies"]
    assert (kind["remedy"], kind["group"], kind["homes"]) == ("bonded-shield", "electric", 3)
    # σ² = 2·0.05² + (a/B)² + (a/A)², one certificate; a = 0.1/sqrt(12).
    a2 = 0.01 / 12
    y = [math.log(after / before) for before, after in values]
    v = [2 * 0.05**2 + a2 / before**2 + a2 / after**2 for before, after in values]
    by_hand = pooled(np.array(y), np.array(v))
    assert kind["mean_ln"] == pytest.approx(by_hand.mean, rel=1e-9)
    assert kind["next_low"] == pytest.approx(by_hand.next_low, rel=1e-9)
    assert kind["percent"] == pytest.approx(100 * (1 - math.exp(kind["mean_ln"])))
    assert kind["db"] == pytest.approx(-20 * math.log10(math.e) * kind["mean_ln"])


def test_two_homes_are_counted_and_have_no_figures() -> None:
    for number in range(2):
        home(number, 40.0, 8.0, SHIELD)
    (kind,) = evidence()["remedies"]
    assert kind["homes"] == 2
    figures = set(kind) - {"remedy", "group", "homes", "left_out"}
    assert all(kind[name] is None for name in figures)


def test_what_is_left_out_is_counted_by_reason() -> None:
    home(1, 40.0, "<0.1", SHIELD)  # at least
    home(2, "<0.1", "<0.1", SHIELD)  # no figure
    home(3, 40.0, 8.0, SHIELD.replace("done,", "done differently,"))
    home(4, 40.0, 8.0, SHIELD + "R2,shielded-surface,,Bedroom,,done,2026-05-01\n")
    home(5, 40.0, 8.0, SHIELD.replace("done,", "accepted,"))
    kinds = {entry["remedy"]: entry for entry in evidence()["remedies"]}
    assert kinds["bonded-shield"]["left_out"] == {
        "at least": 1, "done differently": 1, "no figure": 1, "several remedies": 1,
    }  # fmt: skip
    assert kinds["bonded-shield"]["homes"] == 0
    assert kinds["bonded-shield + shielded-surface"]["homes"] == 1
    assert kinds["shielded-surface"]["left_out"] == {"several remedies": 1}


def test_two_of_a_kind_at_one_spot_are_a_kind_of_their_own() -> None:
    home(1, 40.0, 8.0, SHIELD + SHIELD.replace("R1", "R2"))
    kinds = {entry["remedy"]: entry for entry in evidence()["remedies"]}
    assert kinds["bonded-shield + bonded-shield"]["homes"] == 1
    assert kinds["bonded-shield"]["left_out"] == {"several remedies": 1}


def test_a_shield_says_nothing_of_the_magnetic_field() -> None:
    flux = {"quantity": "magnetic flux density,"}
    home(1, 200.0, 100.0, SHIELD, **flux)
    assert evidence()["remedies"] == []


def test_a_spot_that_no_item_serves_does_not_count() -> None:
    home(1, 40.0, 8.0, "R1,bonded-shield,,Bedroom,bed head,done,2026-05-01\n", spot="bed head")
    elsewhere = "R1,bonded-shield,,Bedroom,bed head,done,2026-05-01\n"
    rows = [row("before", 40.0, "bed foot"), row("after", 8.0, "bed foot")]
    home(2, 30.0, 9.0, elsewhere, rows=rows)
    (kind,) = evidence()["remedies"]
    assert kind["homes"] == 2  # the foot of the second bed is no row of it


def test_the_table_has_a_line_for_each_kind() -> None:
    home(1, 40.0, 8.0, SHIELD)
    out = io.StringIO()
    call_command("evidence", stdout=out)
    assert "bonded-shield  electric" in out.getvalue() and "0 promises" in out.getvalue()


# -- Promises ------------------------------------------------------------------------------------


def promised(case, median, *, accepted, number=1, day=dt.date(2026, 4, 20)):
    """A plan of two items in one option, with the same promise at every spot that was compared."""
    items = [{"name": name} for name in ("R1", "R2")]
    day = dt.datetime.combine(day, dt.time(9), tzinfo=dt.UTC)
    plan = Plan.objects.create(
        case=case, number=number, content={"options": [{"letter": "A", "items": items}]},
        content_sha256="0" * 64, valid_until=day.date(), offered_at=day,
    )  # fmt: skip
    spot = case.visits.first().readings.first().spot
    Prediction.objects.create(
        plan=plan, option="A", spot=spot, measurand="electric-field-potential-free",
        basis="attribution-1", limit=1.5, before=40.0, median=median, low=0.8 * median,
        high=1.2 * median, probability=0.9, overall=0.8,
    )  # fmt: skip
    Decision.objects.create(
        plan=plan, answer="accepted", option="A", items=accepted, content_sha256="0" * 64,
        name="Mina Torhaus", way="office", decided_at=day,
    )  # fmt: skip


def test_a_promise_is_held_against_what_was_found() -> None:
    promised(home(1, 40.0, 0.6, SHIELD), 0.65, accepted=["R1", "R2"])
    promised(home(2, 40.0, 9.0, SHIELD), 0.65, accepted=["R1", "R2"])
    kept = evidence()["promises"]
    assert (kept["rows"], kept["inside"]) == (2, 0.5)
    assert kept["brier"] == pytest.approx((0.1**2 + 0.9**2) / 2)
    assert kept["mean_ln"] == pytest.approx((math.log(0.6 / 0.65) + math.log(9 / 0.65)) / 2)


def test_of_an_option_that_was_taken_in_part_nothing_was_promised() -> None:
    promised(home(1, 40.0, 0.6, SHIELD), 0.65, accepted=["R1"])
    assert evidence()["promises"]["rows"] == 0


def test_a_second_plan_leaves_what_the_first_one_did_not_keep() -> None:
    """9.0 V/m in June against 0.65 of April; 0.6 in September against 0.65 of July."""
    rows = [row("second", 0.6)]
    files = folder([row("before", 40.0), row("after", 9.0), *rows], remedies=HEAD + SHIELD)
    files["visits.csv"] += (AFTER + AFTER.replace("after,", "second,").replace("06-20", "09-01")
                            ).encode()  # fmt: skip
    case = import_case_folder(source=upload(files), by=None, now=timezone.now()).case
    promised(case, 0.65, accepted=["R1", "R2"])
    assert evidence()["promises"]["inside"] == 1.0  # the only plan, and the latest follow-up
    promised(case, 0.65, accepted=["R1", "R2"], number=2, day=dt.date(2026, 7, 2))
    kept = evidence()["promises"]
    assert (kept["rows"], kept["inside"]) == (2, 0.5)
    assert kept["mean_ln"] == pytest.approx((math.log(9 / 0.65) + math.log(0.6 / 0.65)) / 2)
