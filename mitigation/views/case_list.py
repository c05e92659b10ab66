"""The list of cases: searched while one types, filtered, exported."""

from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.cache import patch_vary_headers
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from consult.access import role_required
from consult.htmx import wants_fragment
from consult.services.spreadsheets import Column, Sheet
from consult.views.pages import LongPaginator
from consult.views.spreadsheets import spreadsheet
from mitigation.models import Case, Stage

PER_PAGE = 50
MOST_COUNTED = 200
PAGE = "mitigation/case_list.html"


@require_safe
@role_required("office", "assessor")
def case_list(request: HttpRequest) -> HttpResponse:
    """The whole page, or its results alone while somebody types."""
    shown = Case.objects.visible_to(request.user).for_list()
    pages = LongPaginator(_wanted(request), PER_PAGE, shown=shown, most_counted=MOST_COUNTED)
    context = {
        "page": pages.get_page(request.GET.get("page")),
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
def case_list_export(request: HttpRequest) -> HttpResponse:
    """The same list, all of it, as XLSX."""
    return spreadsheet(_("cases"), Sheet(_("Cases"), case_columns(), _wanted(request)))


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


def case_columns() -> list[Column]:
    """What a spreadsheet says of a case."""
    return [
        (_("Case"), lambda case: case.reference),
        (_("Client"), lambda case: case.property.client.name),
        (_("Property"), lambda case: str(case.property)),
        (_("Stage"), lambda case: str(Stage(case.stage).label)),
        (_("Next move"), lambda case: case.next_move()),
        (_("Since"), lambda case: timezone.localdate(case.stage_since)),
        (_("Due on"), lambda case: case.due_on),
        (_("On hold because"), lambda case: case.on_hold_reason),
        (_("Round"), lambda case: case.round),
        (_("Guideline"), lambda case: case.guideline.code),
        (_("Target band"), lambda case: case.target_band),
    ]
