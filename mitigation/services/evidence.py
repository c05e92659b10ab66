"""Kept rows of evidence and promises: filled by a job when something they rest on changes."""

from datetime import datetime
from typing import Any
from uuid import uuid4

from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils import timezone

from consult.models.clients import ERASED
from consult.services.jobs import Run, enqueue
from mitigation.comparison import compare
from mitigation.models import Case, CaseEvidence, KeptEffect, KeptPromise
from mitigation.planning.evidence import RULES, effects_of, promises_of
from mitigation.planning.evidence_basis import basis_digests, cases_with_works

KEEP_EVIDENCE = "keep-evidence"
KEEP_ALL_EVIDENCE = "keep-all-evidence"
MOST_AT_ONCE = 200
"""So many cases are brought up to date by one job; the next one follows it."""


def follow_evidence(*, cases: QuerySet[Case]) -> None:
    """Have the rows of these cases looked at again by a job, where they have any to keep.

    Whoever changes what evidence rests on calls it in the same transaction.
    """
    for case in cases_with_works().filter(pk__in=cases.order_by().values("pk")):
        enqueue(
            kind=KEEP_EVIDENCE,
            key=f"{KEEP_EVIDENCE}:{case.pk}:{uuid4()}",
            arguments={"case": case.pk},
        )


def keep_evidence_of(arguments: dict[str, Any], run: Run) -> None:
    """The job of one case; what is kept of the same rows already stays."""
    keep_stale(cases=Case.objects.filter(pk=arguments["case"]), now=timezone.now())


def plan_keeping_all() -> None:
    """Have every case that is not up to date computed by a job."""
    enqueue(kind=KEEP_ALL_EVIDENCE, key=f"{KEEP_ALL_EVIDENCE}:{uuid4()}", arguments={})


def keep_all_evidence(arguments: dict[str, Any], run: Run) -> None:
    """The job of all cases, case by case: a killed worker loses one of them at most."""
    stale = stale_cases()
    for case in stale[:MOST_AT_ONCE]:
        if not run.is_current():
            return
        keep_evidence(case=case, now=timezone.now())
    if len(stale) > MOST_AT_ONCE:
        plan_keeping_all()


def stale_cases(cases: QuerySet[Case] | None = None) -> list[int]:
    """The cases whose kept rows rest on something else than there is now, or are missing.

    Of an erased client the rows stay as they were kept: they are numbers that name nobody, and
    what they came from is blanked.
    """
    rows = cases_with_works()
    rows = rows if cases is None else rows.filter(pk__in=cases.order_by().values("pk"))
    erased = Q(property__client__name__startswith=ERASED, evidence__isnull=False)
    now = basis_digests(rows.exclude(erased))
    kept = dict(CaseEvidence.objects.order_by().values_list("case", "digest"))
    return [case for case, digest in now.items() if kept.get(case) != digest]


def keep_stale(*, cases: QuerySet[Case] | None = None, now: datetime) -> int:
    """Bring the kept rows of these cases up to date; returns how many were not."""
    stale = stale_cases(cases)
    for case in stale:
        keep_evidence(case=case, now=now)
    return len(stale)


@transaction.atomic
def keep_evidence(*, case: int, now: datetime) -> None:
    """Compute the rows of one case from its readings and keep them in the place of those before.

    The digest is taken first: what changes meanwhile leaves the rows stale and not wrong.
    """
    rows = Case.objects.select_for_update(of=("self",)).select_related("guideline")
    row = rows.filter(pk=case).first()
    if row is None:
        return
    digest = basis_digests(Case.objects.filter(pk=case))[case]
    comparison = compare(row)
    KeptEffect.objects.filter(case=row).delete()
    KeptPromise.objects.filter(case=row).delete()
    KeptEffect.objects.bulk_create(effects_of(comparison))
    KeptPromise.objects.bulk_create(promises_of(comparison))
    given = {"digest": digest, "rules": list(RULES), "made_at": now}
    CaseEvidence.objects.update_or_create(case=row, defaults=given)
