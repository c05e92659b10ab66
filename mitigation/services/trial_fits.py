"""Trials are sampled by a job, and what came of them is kept until a row of theirs changes."""

import io
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from typing import Any

import numpy as np
from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils import timezone

from consult.models import Job
from consult.services.jobs import Run, enqueue, revive, unfinished_jobs
from mitigation.calc.attribution import ATTRIBUTION, Attribution
from mitigation.comparison import sealed_visits
from mitigation.models import Case, TrialFit
from mitigation.planning.attributions import (
    PENDING,
    Fit,
    basis_digest,
    can_be_attributed,
    fit_of,
    nothing_kept,
)
from mitigation.planning.sources import Sources, sources_of
from mitigation.planning.trials import ALL_ON, Trial, trials_of
from surveys.results import read_columns

SAMPLE_TRIALS = "sample-trials"


@dataclass(frozen=True)
class Unsampled:
    """A trial of which nothing is kept yet."""

    trial: Trial
    digest: str
    sources: Sources


def kept_fit(digest: str) -> Fit | None:
    """What was kept under a digest."""
    row = _usable().filter(digest=digest).first()
    return None if row is None else _fit(row)


def _usable() -> QuerySet[TrialFit]:
    """What may be used: an erasure blanks the names, which another home may share by its rows."""
    return TrialFit.objects.filter(rule=ATTRIBUTION).exclude(names=[])


def _fit(row: TrialFit) -> Fit:
    attribution = None if row.draws is None else _unpacked(row)
    return Fit(attribution, tuple(row.names), is_misfit=row.is_misfit)


class KeptFits:
    """What is kept of a case's trials, read at once; pending where a trial is still to be sampled.

    What was kept of rows that are others by now is found by no digest, and so counts no more.
    """

    def __init__(self) -> None:
        self._rows: dict[str, TrialFit] = {}

    def look_up(self, trials: Sequence[Trial], sources: Sources) -> "KeptFits":
        """Read what is kept of these rows, wherever they were read first, and of these visits."""
        digests = {basis_digest(trial, sources) for trial in trials}
        visits = {trial.visit for trial in trials}
        rows = _usable().filter(Q(digest__in=digests) | Q(visit__in=visits))
        self._rows = {row.digest: row for row in rows}
        return self

    def __call__(self, digest: str) -> Fit:
        row = self._rows.get(digest)
        return PENDING if row is None else _fit(row)

    def has_earlier(self, trial: Trial) -> bool:
        """Whether something is kept of this trial as its rows were before."""
        key = trial.visit, trial.spot, trial.measurand
        return any((row.visit_id, row.spot_id, row.measurand) == key for row in self._rows.values())


def _packed(attribution: Attribution) -> bytes:
    buffer = io.BytesIO()
    np.savez_compressed(
        buffer,
        phase=attribution.phase,
        parts=attribution.parts.astype(np.float32),
        outside=attribution.outside.astype(np.complex64),
    )
    return buffer.getvalue()


def _unpacked(row: TrialFit) -> Attribution:
    with np.load(io.BytesIO(bytes(row.draws or b"")), allow_pickle=False) as arrays:
        return Attribution(
            phase=arrays["phase"],
            parts=arrays["parts"].astype(np.float64),
            outside=arrays["outside"].astype(np.complex128),
            model_error=row.model_error or 0.0,
            checkable=row.checkable,
        )


def unsampled_trials(case: Case) -> list[Unsampled]:
    """The trials of a case that can be attributed, and of whose present rows nothing is kept."""
    visits = sealed_visits(case)
    sources = sources_of(case.property_id, case.property.phases)
    trials = [
        Unsampled(trial, basis_digest(trial, sources), sources)
        for trial in trials_of(visits, read_columns(visits))
        if ALL_ON in trial.states and can_be_attributed(trial, sources)
    ]
    digests = [trial.digest for trial in trials]
    kept = set(_usable().filter(digest__in=digests).values_list("digest", flat=True))
    return [trial for trial in trials if trial.digest not in kept]


def plan_sampling(case: Case) -> bool:
    """Have the unsampled trials of a case sampled by a job; False where none is left."""
    trials = unsampled_trials(case)
    if not trials:
        return False
    together = sha256("".join(sorted(trial.digest for trial in trials)).encode()).hexdigest()
    key = f"{_key(case.pk)}{together[:32]}"
    job = enqueue(kind=SAMPLE_TRIALS, key=key, arguments={"case": case.pk})
    revive(job=job, now=timezone.now())  # if it was given up
    return True


def _key(case: int) -> str:
    """What the keys of the jobs of a case begin with."""
    return f"{SAMPLE_TRIALS}:{case}:"


def sample_now(case: Case) -> None:
    """Sample without a worker: for commands, which may take their time."""
    for unsampled in unsampled_trials(case):
        fit = fit_of(unsampled.trial, unsampled.sources, nothing_kept)
        keep_fit(trial=unsampled.trial, digest=unsampled.digest, fit=fit, now=timezone.now())


def is_being_sampled(case: Case) -> bool:
    """Whether a job of this case waits or is at work."""
    return _sampling(case).exists()


def sampling_progress(case: Case) -> int | None:
    """How far the job of this case is; None where none waits or is at work. [%]"""
    return _sampling(case).order_by("-pk").values_list("progress_percent", flat=True).first()


def _sampling(case: Case) -> QuerySet[Job]:
    return unfinished_jobs().filter(kind=SAMPLE_TRIALS, key__startswith=_key(case.pk))


def sample_trials(arguments: dict[str, Any], run: Run) -> None:
    """Sample what is not kept yet, trial by trial: a killed worker loses one of them at most."""
    case = Case.objects.select_related("property").filter(pk=arguments["case"]).first()
    if case is None:
        return
    trials = unsampled_trials(case)
    for number, unsampled in enumerate(trials):
        run.progress(round(100 * number / len(trials)))
        fit = fit_of(unsampled.trial, unsampled.sources, nothing_kept)
        if not run.is_current():
            return
        keep_fit(trial=unsampled.trial, digest=unsampled.digest, fit=fit, now=timezone.now())


@transaction.atomic
def keep_fit(*, trial: Trial, digest: str, fit: Fit, now: datetime) -> None:
    """Keep what came of a trial; twice the same digest is the same result.

    A row whose names an erasure blanked, or of an earlier rule, is filled anew, for this visit.
    """
    attribution = fit.attribution
    given = {
        "visit_id": trial.visit,
        "spot_id": trial.spot,
        "measurand": trial.measurand,
        "rule": ATTRIBUTION,
        "names": list(fit.names),
        "is_misfit": fit.is_misfit,
        "model_error": attribution.model_error if attribution else None,
        "checkable": attribution.checkable if attribution else False,
        "draws": _packed(attribution) if attribution else None,
        "made_at": now,
    }
    row, created = TrialFit.objects.get_or_create(digest=digest, defaults=given)
    if not created and (not row.names or row.rule != ATTRIBUTION):
        TrialFit.objects.filter(pk=row.pk).update(**given)
