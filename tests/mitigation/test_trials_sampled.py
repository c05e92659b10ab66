"""When draws of a trial are made by themselves, and when they are made anew."""

import pytest
from django.urls import reverse
from django.utils import timezone

from consult.models import Job
from mitigation.models import Case, TrialFit
from mitigation.services.further_visits import add_further_visits
from mitigation.services.imports import import_case_folder
from mitigation.services.trial_fits import SAMPLE_TRIALS, is_being_sampled, unsampled_trials
from mitigation.tasks import TRIALS_CHANGED, VISIT_SEALED
from surveys.models import Circuit, Reading, Visit
from surveys.services import circuits, corrections, visits
from tests.factories import UserFactory, compared_case
from tests.jobs import run_waiting
from tests.mitigation.planned_homes import three_circuits, upload
from tests.mitigation.test_trial_page import Walk

pytestmark = pytest.mark.django_db


@pytest.fixture
def case() -> Case:
    """A case from a folder with a sealed trial, sampled."""
    case = import_case_folder(source=upload(three_circuits()), by=None, now=timezone.now()).case
    assert run_waiting(TRIALS_CHANGED) == 1
    assert is_being_sampled(case)
    assert run_waiting(SAMPLE_TRIALS) == 1
    return case


def test_the_trial_of_an_imported_folder_is_sampled_by_a_job(case) -> None:
    assert TrialFit.objects.count() == 1 and unsampled_trials(case) == []
    assert not is_being_sampled(case)


def test_a_case_without_a_trial_has_nothing_sampled(client) -> None:
    office = UserFactory()
    case = compared_case()
    visit = case.visits.first()
    corrections.set_aside_sealed_reading(
        reading=visit.readings.get(), by=office, now=timezone.now(), reason="The lead was loose."
    )
    circuits.add_circuit(home=case.property, by=office, name="F1")
    assert not Job.objects.filter(kind__in=[SAMPLE_TRIALS, TRIALS_CHANGED]).exists()


def test_a_seal_has_the_trial_sampled(client, monkeypatch) -> None:
    monkeypatch.setattr(visits, "missing_before_sealing", lambda visit, today: [])
    walk = Walk(client)
    for state in [row["form"].initial for row in walk.page().context["rows"]]:
        walk.read(state["off"], state["nth"])
    visits.seal_visit(visit=walk.visit, by=walk.assessor, now=timezone.now())
    assert run_waiting(VISIT_SEALED) == 1 and run_waiting(SAMPLE_TRIALS) == 1
    fit = TrialFit.objects.get()
    assert fit.visit == walk.visit and fit.checkable and sorted(fit.names) == ["f1", "f2", "f3"]


@pytest.mark.parametrize("way", ["corrected", "set aside"])
def test_a_corrected_trial_is_sampled_anew(case, way) -> None:
    row = Reading.objects.filter(state="trial", circuits_off="F1").get()
    about = {"reading": row, "by": UserFactory(), "now": timezone.now(), "reason": "Transposed."}
    if way == "corrected":
        kept = ("instrument", "ground_point", "unit", "state", "circuits_off", "y", "z")
        typed = {name: getattr(row, name) for name in kept}
        corrections.correct_sealed_reading(**about, **typed, x=row.x + 3)
    else:
        corrections.set_aside_sealed_reading(**about)
    assert len(unsampled_trials(case)) == 1  # what is kept is of other rows
    assert run_waiting(TRIALS_CHANGED) == 1 and run_waiting(SAMPLE_TRIALS) == 1
    assert TrialFit.objects.count() == 2 and unsampled_trials(case) == []


def test_a_reading_as_used_that_is_corrected_samples_nothing(case) -> None:
    row = Reading.objects.filter(state="as-used").get()
    corrections.set_aside_sealed_reading(
        reading=row, by=UserFactory(), now=timezone.now(), reason="The lead was loose."
    )
    assert run_waiting(TRIALS_CHANGED) == 0


def test_a_phase_that_becomes_known_has_the_trial_sampled_anew(case) -> None:
    case.property.phases = 2
    case.property.save()
    office = UserFactory()
    for name, phase in (("F1", "L1"), ("F2", "L2"), ("F3", "L1")):
        circuit = Circuit.objects.get(name=name)
        circuits.change_circuit(circuit=circuit, by=office, phase=phase)
    assert run_waiting(TRIALS_CHANGED) == 3 and run_waiting(SAMPLE_TRIALS) == 1
    assert unsampled_trials(case) == []


def test_each_change_of_the_panel_is_followed(case) -> None:
    office = UserFactory()
    home = case.property
    fresh = circuits.add_circuit(home=home, by=office, name="F9")
    lamp = circuits.add_appliance(home=home, by=office, name="lamp")
    circuits.change_appliance(appliance=lamp, by=office, circuit=fresh)
    circuits.remove_appliance(appliance=lamp, by=office)
    circuits.remove_circuit(circuit=Circuit.objects.get(name="F9"), by=office)
    assert run_waiting(TRIALS_CHANGED) == 5


def test_a_further_visit_with_a_trial_is_sampled(case) -> None:
    files = three_circuits()
    files["visits.csv"] = files["visits.csv"].replace(b"before,", b"again,").replace(
        b"2026-03-14", b"2026-04-20"
    )  # fmt: skip
    files["readings.csv"] = files["readings.csv"].replace(b"before,", b"again,")
    add_further_visits(source=upload(files), into=case, by=None, now=timezone.now())
    assert run_waiting(VISIT_SEALED) == 1
    run_waiting(SAMPLE_TRIALS)
    assert unsampled_trials(case) == []
    assert Visit.objects.filter(cases=case).count() == 2


def test_the_case_says_that_it_is_being_computed(case, client) -> None:
    client.force_login(UserFactory())
    page = reverse("case_detail", args=[case.reference])
    words = "What each circuit adds is being computed"
    assert words not in client.get(page).content.decode()
    TrialFit.objects.all().delete()
    Job.objects.filter(kind=SAMPLE_TRIALS).update(state=Job.State.WAITING)
    assert words in client.get(page).content.decode()
