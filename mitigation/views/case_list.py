"""The list of cases: searched while one types, filtered, exported."""

from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.cache import patch_vary_headers
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from consult.access import SignedInRequest, role_required
from consult.htmx import wants_fragment
from consult.pages.downloads import spreadsheet
from consult.pages.paging import LongPaginator
from consult.services.spreadsheets import Sheet
from mitigation.models import Case, Stage
from mitigation.pages.cases import case_columns
from mitigation.pages.moves import steps_of

PER_PAGE = 50
MOST_COUNTED = 200
PAGE = "mitigation/case_list.html"


@require_safe
@role_required("office", "assessor")
def case_list(request: SignedInRequest) -> HttpResponse:
    """The whole page, or its results alone while somebody types."""
    shown = Case.objects.visible_to(request.user).for_list()
    pages = LongPaginator(_wanted(request), PER_PAGE, shown=shown, most_counted=MOST_COUNTED)
    page = pages.get_page(request.GET.get("page"))
    context = {
        "page": page,
        "steps": steps_of(list(page.object_list), now=timezone.now()),
        "query": request.GET.get("q", "").strip(),
        "stages": Stage,
        "stage": request.GET.get("stage", ""),
        "state": request.GET.get("due", ""),
        "today": timezone.localdate(),
    }
    template = f"{PAGE}#results" if wants_fragment(request) else PAGE
    response = render(request, template, context)
    patch_vary_headers(response, ["HX-Request"])
    return response


@require_safe
@role_required("office", "assessor")
def case_list_export(request: SignedInRequest) -> HttpResponse:
    """The same list, all of it, as XLSX."""
    cases = _wanted(request)
    columns = case_columns(steps_of(cases, now=timezone.now()))
    return spreadsheet(_("cases"), Sheet(_("Cases"), columns, cases))


def _wanted(request: HttpRequest) -> QuerySet[Case]:
    """The cases that the person may see and asked for."""
    cases = Case.objects.visible_to(request.user).for_list()
    cases = cases.matching(request.GET.get("q", ""))
    stage = request.GET.get("stage", "")
    if stage in Stage.values:
        cases = cases.filter(stage=stage)
    state = request.GET.get("due", "")
    if state == "late":
        cases = cases.due(timezone.localdate())
    elif state == "held":
        cases = cases.held()
    return cases
