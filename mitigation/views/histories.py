"""Who changed what in a case and when, before and after, in words."""

from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from consult.access import SignedInRequest, role_required
from mitigation.models import Case
from mitigation.services.histories import case_changes

PER_PAGE = 50


@require_safe
@role_required("office", "assessor")
def case_history(request: SignedInRequest, reference: str) -> HttpResponse:
    """Case, people, visits, readings, instruments, notes, files and letters; the latest first."""
    cases = Case.objects.visible_to(request.user).for_list()
    case = get_object_or_404(cases, reference=reference)
    pages = Paginator(case_changes(case, request.user), PER_PAGE)
    page = pages.get_page(request.GET.get("page"))
    context = {"case": case, "page": page, "changes": page.object_list}
    return render(request, "mitigation/case_history.html", context)
