"""A case folder comes in: check, preview, confirm or cancel. The template and exports go out."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from consult.access import SignedInRequest, role_required, takes_files
from consult.pages.downloads import download
from mitigation.forms.uploads import CaseFolderForm, SeenForm
from mitigation.models import Case, PendingUpload
from mitigation.pages.uploads import upload_parts
from mitigation.services import uploads
from mitigation.services.exports import export_case_folder, export_case_workbook
from mitigation.services.plan_items import offered_kinds
from mitigation.services.upload_decisions import decision_in_words
from surveys.intake.sources import MOST_BYTES
from surveys.intake.template import write_template
from surveys.services.registers import may_change_registers

PAGE = "mitigation/upload_preview.html"
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
EXPORTS = {
    "zip": ("application/zip", export_case_folder),
    "xlsx": (XLSX, export_case_workbook),
}


@require_http_methods(["GET", "HEAD", "POST"])
@role_required("office", "assessor")
@takes_files(MOST_BYTES + 100_000)  # and what the form says around it
def upload(request: SignedInRequest) -> HttpResponse:
    """Hand over a case folder; a worker checks it."""
    now = timezone.now()
    visible = PendingUpload.objects.visible_to(request.user)
    waiting = visible.filter(owner=request.user, expires_at__gt=now)
    cases = Case.objects.visible_to(request.user)
    into = {"into": request.GET.get("into", "")}
    form = CaseFolderForm(request.POST or None, request.FILES or None, cases=cases, initial=into)
    if request.method != "POST" or not form.is_valid():
        context = {
            "form": form,
            "uploads": waiting.select_related("case"),
            "for_office": visible.for_office(now) if may_change_registers(request.user) else [],
            "office_days": uploads.KEPT_FOR_OFFICE.days,
        }
        status = 422 if request.method == "POST" else 200
        return render(request, "mitigation/upload.html", context, status=status)
    pending = uploads.keep_upload(
        upload=form.cleaned_data["folder"],
        by=request.user,
        now=now,
        key=form.cleaned_data["key"],
        into=form.cleaned_data["into"],
    )
    return redirect("upload_preview", token=pending.token)


@require_safe
@role_required("office", "assessor")
def upload_preview(request: SignedInRequest, token: str) -> HttpResponse:
    """What the import will enter, how far it is, what came of it."""
    own = PendingUpload.objects.visible_to(request.user).filter(owner=request.user)
    waiting = own.filter(expires_at__gt=timezone.now())
    rows = waiting.select_related("case", "decided_by", "into")
    pending = get_object_or_404(rows, token=token)
    if request.headers.get("HX-Request") == "true":
        response = _progress(request, pending)
    else:
        response = render(request, PAGE, _context(request, pending))
    response["Vary"] = "HX-Request"
    return response


def _progress(request: HttpRequest, pending: PendingUpload) -> HttpResponse:
    """The part that the page asks for anew; once the work is over, the way on.

    The way is gone once: a part that no longer asks every second takes the place of the one that
    does, or a slow next page would be begun anew each second and never be there.
    """
    if not pending.is_moving:
        case = pending.case
        url = reverse("upload_preview", args=[pending.token])
        if case is not None and _is_visible(request, case):
            url = reverse("case_detail", args=[case.reference])
        if "go" not in request.GET:
            return render(request, f"{PAGE}#over", {"pending": pending, "way": url})
        if pending.state == PendingUpload.State.DONE:
            messages.success(request, _("The files are imported."))
        return HttpResponse(status=204, headers={"HX-Redirect": url})
    if request.GET.get("seen") == pending.step:
        return HttpResponse(status=204)  # nothing to say that has not been said
    return render(request, f"{PAGE}#progress", {"pending": pending, "steps": _steps(pending)})


@require_POST
@role_required("office", "assessor")
def upload_act(request: SignedInRequest, token: str, act: str) -> HttpResponse:
    own = PendingUpload.objects.visible_to(request.user).filter(owner=request.user)
    pending = get_object_or_404(own, token=token)
    now = timezone.now()
    try:
        if act == "cancel":
            uploads.cancel_upload(pending=pending)
            if pending.state != PendingUpload.State.DONE:
                messages.info(request, _("Nothing was imported. The file has been removed."))
            return redirect("upload")
        if act == "confirm":
            form = SeenForm(request.POST)
            seen = form.cleaned_data["seen"] if form.is_valid() else None
            uploads.confirm_upload(pending=pending, now=now, seen=seen or 0)
        else:
            uploads.retry_upload(pending=pending, now=now)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
        if pending.expires_at <= now:
            return redirect("upload")
    return redirect("upload_preview", token=token)


@require_safe
@role_required("office", "assessor")
def upload_template(request: SignedInRequest) -> HttpResponseBase:
    """The empty XLSX with its lists and explanations."""
    return download(write_template(offered_kinds()), XLSX, _("case-template") + ".xlsx")


@require_safe
@role_required("office", "assessor")
def case_export(request: SignedInRequest, reference: str, form: str) -> HttpResponseBase:
    """The case as a folder that imports again to the same numbers."""
    cases = Case.objects.visible_to(request.user).for_list()
    case = get_object_or_404(cases, reference=reference)
    if form not in EXPORTS:
        raise Http404
    kind, export = EXPORTS[form]
    try:
        data = export(case=case)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
        return redirect("case_detail", reference=case.reference)
    return download(data, kind, f"{case.reference.replace('/', '-')}.{form}")


def _context(request: HttpRequest, pending: PendingUpload) -> dict[str, Any]:
    known = uploads.known_case(pending)
    return {
        **upload_parts(pending),
        "steps": _steps(pending),
        "decision": decision_in_words(pending) if pending.decision else "",
        "form": CaseFolderForm(initial={"into": pending.into.reference if pending.into else ""}),
        "known": known,
        "known_is_visible": known is not None and _is_visible(request, known),
        "case_is_visible": pending.case is not None and _is_visible(request, pending.case),
    }


def _steps(pending: PendingUpload) -> list[PendingUpload.Step]:
    """The steps of the work that a worker has, or is waited for."""
    step = PendingUpload.Step
    return [step.WAITING, step.CHECKING, *([step.STORING] if pending.confirmed_at else [])]


def _is_visible(request: HttpRequest, case: Case) -> bool:
    return Case.objects.visible_to(request.user).filter(pk=case.pk).exists()
