"""The plan of a case: what each source adds, what items bring, the cheapest plan."""

from django.contrib import messages
from django.db.models import QuerySet
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.cache import patch_vary_headers
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe
from django_htmx.http import HttpResponseClientRefresh

from consult.access import SignedInRequest, role_required
from consult.htmx import wants_fragment
from mitigation.forms.plan import ChoiceForm
from mitigation.models import Case
from mitigation.pages.plan import forecast_context, read_plan, whole_context
from mitigation.pages.plan_choice import choice_context
from mitigation.services.plan_items import choose_items
from mitigation.services.trial_fits import plan_sampling

PAGE = "mitigation/case_plan.html"
CHOICE = "mitigation/plan_choice.html"


def _cases(request: SignedInRequest) -> QuerySet[Case]:
    cases = Case.objects.visible_to(request.user).for_list()
    return cases.prefetch_related("guideline__bands")


@require_safe
@role_required("office", "assessor")
def case_plan(request: SignedInRequest, reference: str) -> HttpResponse:
    """The whole page; while trials are computed it asks for its figures until they are there."""
    page = read_plan(get_object_or_404(_cases(request), reference=reference))
    context = forecast_context(page)
    if not wants_fragment(request):
        context |= whole_context(page) | {"form": ChoiceForm()}
        response = render(request, PAGE, context)
    elif context["pending"]:
        response = render(request, f"{PAGE}#forecast", context)
    else:
        response = HttpResponseClientRefresh()  # what was computed also changes other parts
    patch_vary_headers(response, ["HX-Request"])
    return response


@require_POST
@role_required("office", "assessor")
def plan_choose(request: SignedInRequest, reference: str) -> HttpResponse:
    """Keep what is ticked, and answer with what it brings."""
    case = get_object_or_404(_cases(request), reference=reference)
    names, shown = request.POST.getlist("item"), request.POST.getlist("shown")
    choose_items(case=case, by=request.user, names=names, shown=shown or None)
    if wants_fragment(request):
        return render(request, f"{PAGE}#forecast", forecast_context(read_plan(case)))
    return redirect("case_plan", reference=reference)


@require_POST
@role_required("office", "assessor")
def plan_compute(request: SignedInRequest, reference: str) -> HttpResponse:
    """Have the trials computed of which nothing is kept; asked twice it is one job."""
    case = get_object_or_404(_cases(request), reference=reference)
    if not plan_sampling(case):
        messages.success(request, _("Every trial is computed."))
    return redirect("case_plan", reference=reference)


@require_safe
@role_required("office", "assessor")
def plan_choice(request: SignedInRequest, reference: str) -> HttpResponse:
    """The cheapest plan that holds the rows at a probability, and the staircase of cost."""
    case = get_object_or_404(_cases(request), reference=reference)
    form = ChoiceForm(request.GET if "probability" in request.GET else ChoiceForm.usual())
    context = {"case": case, "form": form}
    if form.is_valid():
        wanted, rows = form.cleaned_data["probability"], form.cleaned_data["rows"]
        page = read_plan(case, wanted=wanted, every_row=rows == "all")
        context |= choice_context(page)
    name = f"{CHOICE}#choice" if wants_fragment(request) else CHOICE
    response = render(request, name, context, status=200 if form.is_valid() else 422)
    patch_vary_headers(response, ["HX-Request"])
    return response
