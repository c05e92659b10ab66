"""The client's first page: where each of their cases stands, in plain words."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_safe

from consult.access import role_required
from consult.models import Letter
from mitigation.models import Case, Stage
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


@require_safe
@role_required("client")
def client_home(request: HttpRequest) -> HttpResponse:
    cases = list(Case.objects.visible_to(request.user).for_list())
    visits = Visit.objects.filter(
        cases__in=cases, sealed_at=None, date__gte=timezone.localdate()
    ).order_by("date")
    planned: dict[int, list[Visit]] = {case.pk: [] for case in cases}
    for visit in visits.prefetch_related("cases"):
        for case in visit.cases.all():
            planned.setdefault(case.pk, []).append(visit)
    stands = [
        {
            "case": case,
            "now": PLAIN[case.stage][0],
            "next": PLAIN[case.stage][1],
            "yours": case.stage == Stage.DECISION and not case.on_hold_reason,
            "visits": planned[case.pk],
        }
        for case in cases
    ]
    letters = Letter.objects.visible_to(request.user).for_list()[:5]
    return render(request, "mitigation/client_home.html", {"stands": stands, "letters": letters})
