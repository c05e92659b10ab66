"""What was done in cases since they came to their stage, told by their visits and letters."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from datetime import datetime
from typing import Any

from django.db.models import QuerySet

from consult.models import Letter
from mitigation.letters import outcome
from mitigation.models import Case, CaseLetter, CaseVisit, Decision, Plan, Stage
from mitigation.models.progress import Fact
from mitigation.services.works_progress import Works, works_of
from surveys.letters import survey_report
from surveys.models import Visit

Facts = Mapping[Fact, datetime]
Keys = Collection[int] | QuerySet[Any]
_Times = dict[Fact, datetime]
# Of a case its key, the moment of its stage and its round; of a visit its round, kind and seal.
VisitRow = tuple[int, datetime, int, int, str, datetime | None]
# Of a case its key and the moment of its stage; of a letter its kind, issue, e-mail and post.
LetterRow = tuple[int, datetime, str, datetime, datetime | None, datetime | None]

# Of a case its key and the moment of its stage; of a plan its offer, the answer and its moment.
PlanRow = tuple[int, datetime, datetime, str | None, datetime | None]

_OF_ANSWERS = {
    Decision.Answer.ACCEPTED: Fact.PLAN_ACCEPTED,
    Decision.Answer.DECLINED: Fact.PLAN_DECLINED,
}
_OF_VISITS = {
    Visit.Kind.BASELINE: (Fact.BASELINE_PLANNED, Fact.BASELINE_SEALED),
    Visit.Kind.FOLLOW_UP: (Fact.FOLLOW_UP_PLANNED, Fact.FOLLOW_UP_SEALED),
}
_OF_LETTERS = {
    survey_report.KIND: (Fact.REPORT_ISSUED, Fact.REPORT_SENT),
    outcome.KIND: (Fact.OUTCOME_ISSUED, Fact.OUTCOME_SENT),
}


def facts_of(cases: Keys, *, now: datetime) -> Mapping[int, Facts]:
    """For each key of a case what was done and when, in four queries; see `facts_in`."""
    visits = CaseVisit.objects.filter(case__in=cases).order_by("pk")
    letters = CaseLetter.objects.filter(case__in=cases, letter__kind__in=_OF_LETTERS)
    return facts_in(
        visits.values_list(
            "case_id", "case__stage_since", "case__round", "round",
            "visit__kind", "visit__sealed_at",
        ),
        letters.order_by("pk").values_list(
            "case_id", "case__stage_since", "letter__kind", "letter__issued_at",
            "letter__emailed_at", "letter__posted_at",
        ),
        Plan.objects.filter(case__in=cases, replaced_at=None).order_by("pk").values_list(
            "case_id", "case__stage_since", "offered_at", "decision__answer",
            "decision__decided_at",
        ),
        works_of(cases),
        now=now,
    )  # fmt: skip


def facts_in(
    visits: Iterable[VisitRow],
    letters: Iterable[LetterRow],
    plans: Iterable[PlanRow],
    works: Iterable[Works],
    *,
    now: datetime,
) -> Mapping[int, Facts]:
    """What these rows tell of each case.

    What was done before the case came to its stage does not count: another round, or a case that
    was taken up again, begins anew. A visit that is still to come counts as of `now`.
    """
    facts: defaultdict[int, _Times] = defaultdict(dict)
    _add_visits(facts, visits, now)
    for case, since, kind, issued_at, emailed_at, posted_at in letters:
        issued, sent = _OF_LETTERS[kind]
        if issued_at >= since:
            facts[case][issued] = issued_at
        sent_at = max(filter(None, (emailed_at, posted_at)), default=None)
        if sent_at is not None and sent_at >= since:
            facts[case].update({issued: issued_at, sent: sent_at})
    for case, since, offered_at, answer, decided_at in plans:
        if offered_at >= since:
            facts[case][Fact.PLAN_OFFERED] = offered_at
        if answer is not None and decided_at is not None and decided_at >= since:
            facts[case][_OF_ANSWERS[Decision.Answer(answer)]] = decided_at
    for row in works:
        facts[row.case].update(row.facts())
    return facts


def facts_of_page(
    case: Case,
    visits: Iterable[CaseVisit],
    letters: Iterable[Letter],
    plans: Iterable[Plan],
    *,
    now: datetime,
) -> Facts:
    """The facts of a case whose visits, letters and plans have been fetched already."""
    of_visits = [
        (case.pk, case.stage_since, case.round, row.round, row.visit.kind, row.visit.sealed_at)
        for row in visits
    ]
    of_letters = [
        (case.pk, case.stage_since, row.kind, row.issued_at, row.emailed_at, row.posted_at)
        for row in letters
        if row.kind in _OF_LETTERS
    ]
    of_plans = [
        (
            case.pk,
            case.stage_since,
            plan.offered_at,
            plan.decision.answer if hasattr(plan, "decision") else None,
            plan.decision.decided_at if hasattr(plan, "decision") else None,
        )
        for plan in plans
        if plan.replaced_at is None
    ]
    of_works = works_of([case.pk]) if case.stage == Stage.WORKS else []
    return facts_in(of_visits, of_letters, of_plans, of_works, now=now).get(case.pk, {})


def _add_visits(facts: Mapping[int, _Times], rows: Iterable[VisitRow], now: datetime) -> None:
    to_come: set[tuple[int, str]] = set()
    sealed: dict[tuple[int, str], datetime] = {}
    since: dict[int, datetime] = {}
    for case, stage_since, round_now, round_of_visit, kind, sealed_at in rows:
        since[case] = stage_since
        if sealed_at is not None:
            sealed[case, kind] = max(sealed_at, sealed.get((case, kind), sealed_at))
        elif round_of_visit == round_now:
            to_come.add((case, kind))
    for case, kind in {*to_come, *sealed}:
        planned, done = _OF_VISITS[Visit.Kind(kind)]
        at = sealed.get((case, kind))
        if (case, kind) in to_come:  # the survey takes this visit, too
            # A follow-up is of something that was measured before.
            if kind == Visit.Kind.BASELINE or (case, Visit.Kind.BASELINE) in sealed:
                facts[case][planned] = now
        elif at is not None and at >= since[case]:
            facts[case].update({planned: at, done: at})
