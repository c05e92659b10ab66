"""The list of cases: searched while one types, filtered, exported."""

from collections.abc import Iterator, Sequence

from django.core.paginator import Paginator
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.cache import patch_vary_headers
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from consult.access import role_required
from consult.htmx import wants_fragment
from consult.services.lists import XLSX, Cell, list_workbook
from mitigation.models import Case, Stage
from mitigation.views.uploads import download

PER_PAGE = 50
PAGE = "mitigation/case_list.html"


@require_safe
@role_required("office", "assessor")
def case_list(request: HttpRequest) -> HttpResponse:
    """The whole page, or its results alone while somebody types."""
    page = Paginator(_wanted(request), PER_PAGE).get_page(request.GET.get("page"))
    context = {
        "page": page,
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
    header = [
        _("Case"), _("Client"), _("Property"), _("Stage"), _("Next move"), _("Since"), _("Due on"),
        _("On hold because"), _("Round"), _("Guideline"), _("Target band"),
    ]  # fmt: skip
    data = list_workbook(header=header, rows=_rows(_wanted(request)))
    return download(data, XLSX, _("cases") + ".xlsx")


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


def _rows(cases: QuerySet[Case]) -> Iterator[Sequence[Cell]]:
    for case in cases.iterator(chunk_size=2_000):
        yield (
            case.reference,
            case.property.client.name,
            str(case.property),
            str(Stage(case.stage).label),
            case.next_move() or "",
            case.stage_since,
            case.due_on,
            case.on_hold_reason,
            case.round,
            case.guideline.code,
            case.target_band,
        )
