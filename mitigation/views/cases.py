"""One case with its comparison; issuing its letters."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from consult.access import role_required
from consult.models import Letter, User
from mitigation.comparison import compare
from mitigation.models import Case, Stage
from mitigation.services import outcomes
from mitigation.views.pictures import case_pictures
from surveys.models import Visit
from surveys.results import dangers_of

ISSUE = {
    Letter.Kind.SURVEY_REPORT: outcomes.issue_survey_report,
    Letter.Kind.OUTCOME: outcomes.issue_outcome_letter,
}
PATH = [stage for stage in Stage if stage != Stage.DECLINED]


@require_safe
@role_required("office", "assessor")
def case_detail(request: HttpRequest, reference: str) -> HttpResponse:
    cases = Case.objects.visible_to(request.user).for_list()
    case = get_object_or_404(cases, reference=reference)
    comparison = compare(case)
    visits = [visit for visit in (comparison.baseline, comparison.follow_up) if visit]
    letters = Letter.objects.visible_to(request.user).for_list()
    context = {
        "case": case,
        "stages": [Stage.DECLINED] if case.stage == Stage.DECLINED else PATH,
        "comparison": comparison,
        "outcome": comparison.as_json(),
        "pictures": case_pictures(comparison),
        "dangers": [danger for visit in visits for danger in dangers_of(visit)],
        "visits": Visit.objects.filter(cases=case).for_list(),
        "letters": letters.filter(case_reference=case.reference),
    }
    return render(request, "mitigation/case_detail.html", context)


@require_POST
@role_required("office")
def letter_issue(request: HttpRequest, reference: str, kind: str) -> HttpResponse:
    cases = Case.objects.visible_to(request.user).for_list()
    case = get_object_or_404(cases, reference=reference)
    if kind not in ISSUE:
        raise Http404
    assert isinstance(request.user, User)
    try:
        letter = ISSUE[Letter.Kind(kind)](case=case, by=request.user, now=timezone.now())
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        messages.success(request, _("Letter %(number)s is queued.") % {"number": letter.number})
    return redirect("case_detail", reference=case.reference)
