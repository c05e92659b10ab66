"""Trials are sampled by a job and kept until a row of theirs changes."""

import numpy as np
import pytest
from django.utils import timezone

from consult.models import Job
from consult.tasks import run_job
from mitigation.models import TrialFit
from mitigation.planning.plans import plan_json, planning_of
from mitigation.services import trial_fits
from mitigation.services.imports import import_case_folder
from mitigation.services.trial_fits import kept_fit, plan_sampling, unsampled_trials
from surveys.models import Circuit, Reading
from surveys.services.circuits import change_circuit
from surveys.services.corrections import set_aside_sealed_reading
from tests.factories import UserFactory
from tests.mitigation.planned_homes import (
    REMEDIES,
    THREE,
    every_state,
    field_rows,
    folder,
    upload,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def case():
    """Two beds with a trial at each."""
    rows = field_rows("bed head", THREE, every_state(list(THREE)))
    rows += field_rows("bed foot", THREE, every_state(list(THREE)), outside=(0.5, 0.1, 0.1))
    files = folder(rows, remedies=REMEDIES)
    return import_case_folder(source=upload(files), by=None, now=timezone.now()).case


def sampled(case) -> None:
    plan_sampling(case)
    for job in Job.objects.filter(kind=trial_fits.SAMPLE_TRIALS, state="waiting"):
        assert run_job(job.pk)


def test_what_is_kept_gives_the_numbers_that_are_computed(case) -> None:
    computed = plan_json(planning_of(case), ["R1"])
    sampled(case)
    assert TrialFit.objects.count() == 2 and not unsampled_trials(case)
    assert (
        plan_json(planning_of(case, look_up=lambda _trials, _sources: kept_fit), ["R1"]) == computed
    )


def test_the_same_rows_are_sampled_once(case) -> None:
    sampled(case)
    before = list(TrialFit.objects.values_list("pk", "made_at"))
    assert not plan_sampling(case)
    trial_fits.sample_now(case)
    assert list(TrialFit.objects.values_list("pk", "made_at")) == before


def test_a_worker_that_dies_between_two_trials_loses_one_of_them(case, monkeypatch) -> None:
    keep, times = trial_fits.keep_fit, []

    def dying(**given):
        times.append(1)
        if len(times) == 2:
            raise MemoryError("the worker is gone")
        keep(**given)

    monkeypatch.setattr(trial_fits, "keep_fit", dying)
    plan_sampling(case)
    job = Job.objects.get(kind=trial_fits.SAMPLE_TRIALS)
    run_job(job.pk)
    assert TrialFit.objects.count() == 1
    monkeypatch.undo()
    Job.objects.filter(pk=job.pk).update(run_after=timezone.now())
    assert run_job(job.pk)
    assert TrialFit.objects.count() == 2 and not unsampled_trials(case)


def test_a_row_set_aside_after_the_seal_makes_its_trial_stale(case) -> None:
    sampled(case)
    reading = Reading.objects.filter(state="trial", spot__name="bed head").exclude(circuits_off="")
    set_aside_sealed_reading(
        reading=reading.first(), by=UserFactory(), now=timezone.now(), reason="The lead was loose."
    )
    (stale,) = unsampled_trials(case)
    assert stale.trial.spot == reading.first().spot_id
    assert kept_fit(stale.digest) is None
    sampled(case)
    assert not unsampled_trials(case) and TrialFit.objects.count() == 3


def test_another_phase_makes_a_trial_stale(case) -> None:
    """On three phases the angle of a circuit counts; here it had none, and nothing was kept."""
    case.property.phases = 3
    case.property.save()
    assert not unsampled_trials(case)  # phases not known: read-state-1, and nothing to sample
    person = UserFactory()
    for number, circuit in enumerate(Circuit.objects.order_by("pk"), start=1):
        given = {"name": circuit.name, "phase": f"L{number}"}
        change_circuit(circuit=circuit, by=person, **given)
    assert len(unsampled_trials(case)) == 2
    sampled(case)
    Circuit.objects.filter(name="F1").update(phase="L2")
    assert len(unsampled_trials(case)) == 2


def test_draws_are_kept_whole(case) -> None:
    sampled(case)
    for trial in TrialFit.objects.all():
        fit = kept_fit(trial.digest)
        assert fit.names == ("f1", "f2", "f3")
        assert fit.attribution.parts.shape == (3, 4000, 3)
        assert np.isfinite(fit.attribution.parts).all()
