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
    """What people changed, the latest first; readings and instruments that were entered apart."""
    cases = Case.objects.visible_to(request.user).for_list()
    case = get_object_or_404(cases, reference=reference)
    changes = case_changes(case, request.user)
    data = [change for change in changes if change.is_data]
    is_of_data = request.GET.get("of") == "data"
    wanted = data if is_of_data else [change for change in changes if not change.is_data]
    page = Paginator(wanted, PER_PAGE).get_page(request.GET.get("page"))
    context = {"case": case, "page": page, "changes": page.object_list, "is_of_data": is_of_data}
    if not is_of_data and page.number == 1:
        context |= {"n_data": len(data), "data": data[:PER_PAGE]}
    return render(request, "mitigation/case_history.html", context)
