"""The client's first page: where each of their cases stands, in plain words."""

from collections.abc import Sequence

from django.db.models import Max
from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_safe

from consult.access import SignedInRequest, role_required
from consult.models import Letter
from consult.models.letters import LetterQuerySet
from mitigation.letters import outcome
from mitigation.models import Case, Plan, Stage
from mitigation.pages.client_works import works_of_client
from surveys.letters import survey_report
from surveys.models import Visit

# For a stage: what is going on, and what comes next.
PLAIN: dict[str, tuple[str | Promise, str | Promise]] = {
    Stage.ENQUIRY: (
        _("We have your enquiry."),
        _("We will call you to agree on a day for the first survey."),
    ),
    Stage.BASELINE: (
        _("The first survey is being planned or carried out."),
        _("An assessor measures the places where you sleep and sit, as your home is used."),
    ),
    Stage.FINDINGS: (
        _("Your home has been measured."),
        _("We are putting the findings together and will send you the survey report."),
    ),
    Stage.PLAN: (
        _("We are working out what would lower the fields most."),
        _("You will get a plan to decide on."),
    ),
    Stage.DECISION: (
        _("You have a plan from us."),
        _("The next move is yours: tell us what you would like to have done."),
    ),
    Stage.WORKS: (
        _("The work is with a licensed electrician."),
        _("When it is done we will measure again."),
    ),
    Stage.FOLLOW_UP: (
        _("The work is done, the second survey is next."),
        _("We read the same places again, to see what the work has brought."),
    ),
    Stage.PROOF: (
        _("Your home has been measured again."),
        _("We are comparing before and after and will send you the outcome letter."),
    ),
    Stage.CLOSED: (
        _("Your case is finished."),
        _("Your letters stay here. Call us if something in the house changes."),
    ),
    Stage.DECLINED: (
        _("Your case ended without work."),
        _("Call us if you would like to take it up again."),
    ),
}

# The same once the letter of a stage lies there: what it is, which visits it speaks of, the words.
TOLD: dict[str, tuple[str, str, Promise]] = {
    Stage.FINDINGS: (
        survey_report.KIND,
        Visit.Kind.BASELINE,
        _("Your survey report is ready: you find it below."),
    ),
    Stage.PROOF: (
        outcome.KIND,
        Visit.Kind.FOLLOW_UP,
        _("Your outcome letter is ready: you find it below."),
    ),
}
AFTER_A_LETTER = _("Call us if anything in it is unclear. We will be in touch about what is next.")


@require_safe
@role_required("client")
def client_home(request: SignedInRequest) -> HttpResponse:
    cases = list(Case.objects.visible_to(request.user).for_list())
    visits = Visit.objects.filter(
        cases__in=cases, sealed_at=None, date__gte=timezone.localdate()
    ).order_by("date")
    planned: dict[int, list[Visit]] = {case.pk: [] for case in cases}
    for visit in visits.prefetch_related("cases"):
        for case in visit.cases.all():
            planned.setdefault(case.pk, []).append(visit)
    letters = Letter.objects.visible_to(request.user)
    words = _words_of(cases, letters)
    plans = Plan.objects.visible_to(request.user).for_list().filter(case__in=cases)
    latest = {plan.case_id: plan for plan in plans.filter(replaced_at=None).order_by("number")}
    works = works_of_client(cases, request.user)
    stands = [
        {
            "case": case,
            "now": words[case.pk][0],
            "next": words[case.pk][1],
            "yours": case.stage == Stage.DECISION and not case.on_hold_reason,
            "visits": planned[case.pk],
            "plan": latest.get(case.pk),
            "works": works[case.pk],
        }
        for case in cases
    ]
    letters = letters.for_list()[:5]
    return render(request, "mitigation/client_home.html", {"stands": stands, "letters": letters})


def _words_of(
    cases: Sequence[Case], letters: LetterQuerySet
) -> dict[int, tuple[str | Promise, str | Promise]]:
    """What is going on and what comes next, for each case by its key.

    A letter speaks of a stage if it was issued after the latest visit that it is about.
    """
    issued = {
        (case, kind): at
        for case, kind, at in letters.order_by()
        .filter(case_letter__case__in=cases)
        .values_list("case_letter__case", "kind")
        .annotate(at=Max("issued_at"))
    }
    sealed = {
        (case, kind): at
        for case, kind, at in Visit.objects.order_by()
        .filter(cases__in=cases)
        .values_list("cases", "kind")
        .annotate(at=Max("sealed_at"))
    }
    words = {case.pk: PLAIN[case.stage] for case in cases}
    for case in cases:
        if case.stage in TOLD:
            letter, visit, ready = TOLD[case.stage]
            at, since = issued.get((case.pk, letter)), sealed.get((case.pk, visit))
            if at is not None and since is not None and at >= since:
                words[case.pk] = ready, AFTER_A_LETTER
    return words
