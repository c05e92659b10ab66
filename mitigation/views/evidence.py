"""What remedies achieved and how promises were kept: for the practice, and for clients."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST, require_safe

from consult.access import SignedInRequest, role_required
from consult.pages.downloads import spreadsheet
from consult.services.spreadsheets import Sheet
from mitigation.pages.evidence import (
    client_parts,
    kind_parts,
    references_for,
    sheets,
    stale_part,
)
from mitigation.pages.promises import (
    broken_columns,
    broken_lines,
    class_lines,
    promise_part,
    promises_for_clients,
)
from mitigation.services.evidence import plan_keeping_all, stale_cases


@require_safe
@role_required("office", "assessor")
def evidence_list(request: SignedInRequest) -> HttpResponse:
    """Every kind with all its homes; a reader sees which home only where they may open its case."""
    context = {"parts": kind_parts(request.user), "stale": stale_part(request.user)}
    return render(request, "mitigation/evidence_list.html", context)


@require_safe
@role_required("office", "assessor")
def evidence_list_export(request: SignedInRequest) -> HttpResponse:
    names = references_for(request.user)
    return spreadsheet(_("what remedies achieve"), *sheets(kind_parts(request.user), names))


@require_POST
@role_required("office", "assessor")
def evidence_renew(request: SignedInRequest) -> HttpResponse:
    """Have the cases computed whose kept rows are not up to date."""
    stale = stale_cases()
    if stale:
        plan_keeping_all()
    words = ngettext("%(n)d case is being computed.", "%(n)d cases are being computed.", len(stale))
    messages.success(request, words % {"n": len(stale)})
    return redirect("evidence_list")


@require_safe
@role_required("office", "assessor")
def promise_list(request: SignedInRequest) -> HttpResponse:
    """How predictions did, and which did not come out."""
    part = promise_part()
    context = {
        "part": part,
        "classes": class_lines(part.kept),
        "lines": broken_lines(request.user),
        "stale": stale_part(request.user),
    }
    return render(request, "mitigation/promise_list.html", context)


@require_safe
@role_required("office", "assessor")
def promise_list_export(request: SignedInRequest) -> HttpResponse:
    lines = broken_lines(request.user)
    sheet = Sheet(_("Promises that were not kept"), broken_columns(), lines)
    return spreadsheet(_("promises that were not kept"), sheet)


@require_safe
@role_required("client")
def client_evidence(request: SignedInRequest) -> HttpResponse:
    """Both without a name of anybody, from five homes on."""
    context = {"parts": client_parts(), "promises": promises_for_clients()}
    return render(request, "mitigation/client_evidence.html", context)
