"""A trial walk at the panel: state by state, one row of readings each."""

from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.cache import patch_vary_headers
from django.views.decorators.http import require_http_methods

from consult.access import SignedInRequest, role_required
from consult.htmx import wants_fragment
from mitigation.forms.trial_walks import TrialSetupForm, TrialStateForm, setup_form
from mitigation.pages.trial_walk import trial_query, walk_context
from mitigation.services.trial_walks import enter_state
from surveys.models import Visit

PAGE = "mitigation/trial_walk.html"


@require_http_methods(["GET", "HEAD", "POST"])
@role_required("office", "assessor")
def trial_walk(request: SignedInRequest, pk: int) -> HttpResponse:
    """What to switch and what the meter showed; each state is entered as soon as it was read."""
    rows = Visit.objects.visible_to(request.user).select_related("property__client")
    visit = get_object_or_404(rows, pk=pk)
    setup = setup_form(request.GET, visit)
    if not setup.is_valid():
        return _page(request, visit, setup, status=422 if setup.is_bound else 200)
    if request.method != "POST":
        return _page(request, visit, setup)
    form = TrialStateForm(request.POST, columns=setup.columns())
    if form.is_valid():
        entry = {name: form.cleaned_data[name] for name in ("off", "nth")}
        unit = setup.cleaned_data["unit"]
        try:
            enter_state(
                where=setup.where(), by=request.user, unit=unit, cells=form.cells(), **entry
            )
        except ValidationError as error:
            form.blame(error)
    if form.errors:
        return _page(request, visit, setup, form, status=422)
    if wants_fragment(request):
        return _page(request, visit, setup)
    return redirect(f"{reverse('trial_walk', args=[visit.pk])}?{trial_query(setup)}#now")


def _page(
    request: SignedInRequest,
    visit: Visit,
    setup: TrialSetupForm,
    wrong: TrialStateForm | None = None,
    status: int = 200,
) -> HttpResponse:
    context = {"visit": visit, "setup": setup}
    if setup.is_valid():
        context |= walk_context(setup, wrong)
    part = wants_fragment(request) and "rows" in context
    response = render(request, f"{PAGE}#walk" if part else PAGE, context, status=status)
    patch_vary_headers(response, ["HX-Request"])
    return response
