"""Kept rows of evidence: refilled by a job after each kind of change, and equal to new ones."""

import datetime as dt
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.utils import timezone

from consult.models import Job
from consult.services.changes import version_of
from consult.services.privacy.erasures import erase_person
from mitigation.models import Case, CaseEvidence, KeptEffect, KeptPromise, Plan, PlanItem, Stage
from mitigation.planning import evidence_basis
from mitigation.services import evidence as evidence_service
from mitigation.services.cases import edit_case
from mitigation.services.decisions import decide
from mitigation.services.evidence import (
    KEEP_ALL_EVIDENCE,
    KEEP_EVIDENCE,
    follow_evidence,
    keep_stale,
    stale_cases,
)
from mitigation.services.further_visits import add_further_visits
from mitigation.services.imports import import_case_folder
from mitigation.services.plan_items import finish_item
from mitigation.tasks import READING_CORRECTED, VISIT_SEALED
from surveys.models import Calibration, Circuit, Reading, Spot
from surveys.services import corrections
from surveys.services.circuits import add_circuit
from surveys.services.registers import add_calibration
from tests.factories import UserFactory
from tests.jobs import run_waiting
from tests.mitigation.planned_homes import folder, upload
from tests.mitigation.test_evidence_command import (
    AFTER,
    HEAD,
    SHIELD,
    evidence,
    home,
    promised,
    row,
)

pytestmark = pytest.mark.django_db


def figures() -> list[tuple[Any, ...]]:
    """All that is kept, without the numbers of the rows."""
    effects = KeptEffect.objects.order_by("case", "remedy", "group")
    kept = KeptPromise.objects.order_by("prediction")
    return [
        *effects.values_list("case", "remedy", "group", "n_rows", "effect", "variance", "left_out"),
        *kept.values_list("prediction", "after", "inside", "probability", "met", "ln_ratio"),
    ]


def is_up_to_date() -> bool:
    """Whether the kept rows are those that a computation from the readings gives."""
    kept = figures()
    CaseEvidence.objects.all().delete()
    KeptEffect.objects.all().delete()
    KeptPromise.objects.all().delete()
    keep_stale(now=timezone.now())
    return kept == figures() and stale_cases() == []


@pytest.fixture
def case() -> Case:
    """A home with a shield, kept."""
    case = home(1, 40.0, 8.0, SHIELD)
    assert stale_cases() == [case.pk] and run_waiting(KEEP_EVIDENCE) == 1
    assert stale_cases() == [] and KeptEffect.objects.get().n_rows == 1
    return case


def test_an_imported_folder_is_kept_by_a_job(case) -> None:
    kept = CaseEvidence.objects.get()
    assert {"evidence-1", "promise-1", "reduction-2"} <= set(kept.rules)
    assert is_up_to_date()


def test_the_same_job_twice_keeps_the_same_rows(case) -> None:
    before, kept = figures(), CaseEvidence.objects.get()
    follow_evidence(cases=Case.objects.all())
    follow_evidence(cases=Case.objects.all())
    assert run_waiting(KEEP_EVIDENCE) == 2
    assert figures() == before and CaseEvidence.objects.get().made_at == kept.made_at


@pytest.mark.parametrize("way", ["corrected", "set aside"])
def test_a_correction_refills_them(case, way) -> None:
    reading = Reading.objects.get(visit__kind="follow-up")
    about = {"reading": reading, "by": UserFactory(), "now": timezone.now(), "reason": "Misread."}
    if way == "corrected":
        names = ("instrument", "ground_point", "unit", "state", "circuits_off", "y", "z", "x")
        typed = {name: getattr(reading, name) for name in names}
        corrections.correct_sealed_reading(**about, **typed, total=4.0)
    else:
        corrections.set_aside_sealed_reading(**about)
    assert stale_cases() == [case.pk]
    assert run_waiting(READING_CORRECTED) == 1 and run_waiting(KEEP_EVIDENCE) == 1
    effect = KeptEffect.objects.get()
    assert effect.left_out == ({} if way == "corrected" else {"no comparison": 1})
    assert is_up_to_date()


def test_another_state_of_an_item_refills_them(case) -> None:
    case.items.update(state=PlanItem.State.DONE_DIFFERENTLY)
    assert stale_cases() == [case.pk]
    follow_evidence(cases=Case.objects.filter(pk=case.pk))
    assert run_waiting(KEEP_EVIDENCE) == 1
    assert KeptEffect.objects.get().left_out == {"done differently": 1}
    assert is_up_to_date()
    case.items.update(state=PlanItem.State.NOT_POSSIBLE)
    keep_stale(now=timezone.now())
    assert not KeptEffect.objects.exists() and stale_cases() == []


def test_an_accepted_item_that_is_done_is_followed_by_a_job(case) -> None:
    item, by = case.items.get(), UserFactory()
    case.items.update(state=PlanItem.State.ACCEPTED, done_on=None)
    keep_stale(now=timezone.now())
    assert not KeptEffect.objects.exists()
    day = dt.date(2026, 5, 2)
    done = {"state": PlanItem.State.DONE, "done_on": day, "done_by": "Elektro Sievers"}
    finish_item(item=item, by=by, **done)
    assert run_waiting(KEEP_EVIDENCE) == 1 and KeptEffect.objects.get().n_rows == 1
    item.refresh_from_db()
    assert (item.state, item.done_on, item.done_by) == ("done", day, "Elektro Sievers")
    with pytest.raises(ValidationError, match="Only an accepted item"):
        finish_item(item=item, by=by, state=PlanItem.State.ACCEPTED)
    case.items.update(state=PlanItem.State.PROPOSED)
    with pytest.raises(ValidationError, match="Only an accepted item"):
        finish_item(item=item, by=by, state=PlanItem.State.DONE)


def test_many_cases_are_kept_by_jobs_that_follow_each_other(monkeypatch) -> None:
    monkeypatch.setattr(evidence_service, "MOST_AT_ONCE", 2)
    for at in range(3):
        home(at, 40.0, 8.0, SHIELD)
    Job.objects.all().delete()
    evidence_service.plan_keeping_all()
    assert run_waiting(KEEP_ALL_EVIDENCE) == 1 and len(stale_cases()) == 1
    assert run_waiting(KEEP_ALL_EVIDENCE) == 1 and stale_cases() == []
    assert run_waiting(KEEP_ALL_EVIDENCE) == 0


def test_a_day_of_works_put_right_makes_them_stale(case) -> None:
    case.items.update(done_on="2026-05-03")
    assert stale_cases() == [case.pk]


def test_what_an_item_serves_makes_them_stale(case) -> None:
    item = case.items.get()
    other = Spot.objects.create(room=item.room, name="elsewhere")
    item.spots.add(other)
    assert keep_stale(now=timezone.now()) == 1
    assert not KeptEffect.objects.exists()  # at the other spot nothing was measured
    item.spots.clear()
    assert keep_stale(now=timezone.now()) == 1
    circuit = add_circuit(home=case.property, by=UserFactory(), name="F1")
    item.circuits.add(circuit)
    assert keep_stale(now=timezone.now()) == 1
    Circuit.objects.filter(pk=circuit.pk).update(name="F2")
    assert keep_stale(now=timezone.now()) == 1 and is_up_to_date()


def test_another_rule_makes_every_case_stale(case, monkeypatch) -> None:
    monkeypatch.setattr(evidence_basis, "RULES", ("evidence-2",))
    assert stale_cases() == [case.pk]


def test_a_further_follow_up_refills_them() -> None:
    first = [row("before", 40.0)]
    files = folder(first, remedies=HEAD + SHIELD, reference="EB-F1")
    case = import_case_folder(source=upload(files), by=None, now=timezone.now()).case
    assert run_waiting(KEEP_EVIDENCE) == 1
    assert KeptEffect.objects.get().left_out == {"no comparison": 1}
    files = folder([*first, row("after", 8.0)], remedies=HEAD + SHIELD, reference="EB-F1")
    files["visits.csv"] += AFTER.encode()
    add_further_visits(source=upload(files), into=case, by=None, now=timezone.now())
    assert stale_cases() == [case.pk]
    assert run_waiting(VISIT_SEALED) == 1 and run_waiting(KEEP_EVIDENCE) == 1
    assert KeptEffect.objects.get().n_rows == 1 and is_up_to_date()


def test_a_decision_refills_them(case) -> None:
    promised(case, 0.65, accepted=["R1", "R2"])
    assert stale_cases() == [case.pk] and keep_stale(now=timezone.now()) == 1
    assert KeptPromise.objects.get().inside is False and is_up_to_date()


def test_an_answer_of_the_client_is_followed_by_a_job(case) -> None:
    plan = Plan.objects.create(
        case=case,
        number=1,
        content={"may_be_parted": False, "options": [{"letter": "A", "items": [{"name": "R1"}]}]},
        content_sha256="0" * 64,
        valid_until=timezone.localdate(),
        offered_at=timezone.now(),
    )
    decide(
        plan=plan, answer="accepted", option="A", shown_sha256="0" * 64, name="Alwine Torhaus",
        way="office", now=timezone.now(),
    )  # fmt: skip
    assert run_waiting(KEEP_EVIDENCE) == 1 and stale_cases() == []


def test_another_target_refills_them() -> None:
    case = home(1, 40.0, 0.8, SHIELD)
    promised(case, 0.8, accepted=["R1", "R2"])
    keep_stale(now=timezone.now())
    assert KeptPromise.objects.get().met is True  # 0.8 under 1.5 V/m
    Job.objects.all().delete()
    by = UserFactory()
    edit_case(case=case, seen=version_of(case), by=by, values={"target_band": 1})
    assert stale_cases() == [case.pk] and run_waiting(KEEP_EVIDENCE) == 1
    assert KeptPromise.objects.get().met is False  # 0.8 over 0.3 V/m
    assert is_up_to_date()


def test_a_certificate_that_is_entered_later_changes_nothing(case) -> None:
    """Sealed readings keep the certificate that they were read under."""
    probe = Calibration.objects.get(certificate="C-17")
    names = ("quantity", "axes", "unit", "gain_percent", "resolution", "floor", "ceiling")
    given = {name: getattr(probe, name) for name in names}
    add_calibration(
        instrument=probe.instrument, by=UserFactory(), certificate="C-99",
        calibrated_on="2026-03-01", due_on="2027-03-01", **given | {"gain_percent": 20.0},
    )  # fmt: skip
    assert stale_cases() == [] and is_up_to_date()


def test_the_command_brings_them_up_to_date(case) -> None:
    case.items.update(state=PlanItem.State.DONE_DIFFERENTLY)
    home(2, 40.0, 4.0, SHIELD)
    (kind,) = evidence()["remedies"]
    assert (kind["homes"], kind["left_out"]) == (1, {"done differently": 1})
    assert stale_cases() == []


def test_an_erasure_leaves_the_numbers(case) -> None:
    promised(case, 0.65, accepted=["R1", "R2"])
    keep_stale(now=timezone.now())
    before = figures()
    Case.objects.filter(pk=case.pk).update(stage=Stage.CLOSED)
    client = case.property.client
    by = UserFactory(is_manager=True)
    erase_person(person=client, by=by, now=timezone.now(), reason="Asked for it.")
    client.refresh_from_db()
    assert client.is_erased and stale_cases() == []
    keep_stale(now=timezone.now())
    assert figures() == before
