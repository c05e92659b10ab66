"""A case folder comes in: check, preview, confirm or cancel. The template and exports go out."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.http import content_disposition_header
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from consult.access import role_required
from consult.models import User
from mitigation.forms.uploads import CaseFolderForm
from mitigation.models import Case, PendingUpload
from mitigation.services import uploads
from mitigation.services.exports import export_case_folder, export_case_workbook
from mitigation.views.previews import tables_of
from surveys.intake import CaseFolderRefused, Preview
from surveys.intake.template import write_template

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
EXPORTS = {
    "zip": ("application/zip", export_case_folder),
    "xlsx": (XLSX, export_case_workbook),
}


@require_http_methods(["GET", "HEAD", "POST"])
@role_required("office", "assessor")
def upload(request: HttpRequest) -> HttpResponse:
    """Hand over a case folder; one with faults is shown and not kept."""
    if request.method != "POST":
        return render(request, "mitigation/upload.html", {"form": CaseFolderForm()})
    form = CaseFolderForm(request.POST, request.FILES)
    if not form.is_valid():
        return render(request, "mitigation/upload.html", {"form": form}, status=422)
    given = form.cleaned_data["folder"]
    preview = uploads.preview_of(given)
    if not preview.ok:
        return _preview_page(request, given.name, preview, None)
    assert isinstance(request.user, User)
    pending = uploads.keep_upload(upload=given, by=request.user, now=timezone.now())
    return redirect("upload_preview", token=pending.token)


@require_safe
@role_required("office", "assessor")
def upload_preview(request: HttpRequest, token: str) -> HttpResponse:
    """What the import will enter; it waits for its owner's word."""
    waiting = PendingUpload.objects.visible_to(request.user).filter(expires_at__gt=timezone.now())
    pending = get_object_or_404(waiting, token=token)
    try:
        preview = uploads.preview_of(uploads.upload_of(pending))
    except ValidationError as error:
        raise Http404 from error
    return _preview_page(request, pending.name, preview, pending)


@require_POST
@role_required("office", "assessor")
def upload_act(request: HttpRequest, token: str, act: str) -> HttpResponse:
    pending = get_object_or_404(PendingUpload.objects.visible_to(request.user), token=token)
    if act == "cancel":
        uploads.cancel_upload(pending=pending)
        messages.info(request, _("Nothing was imported. The file has been removed."))
        return redirect("upload")
    assert isinstance(request.user, User)
    try:
        result = uploads.confirm_upload(pending=pending, by=request.user, now=timezone.now())
    except CaseFolderRefused:
        return redirect("upload_preview", token=token)  # it names what is wrong by now
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
        return redirect("upload")
    said = _("Case %(case)s is imported.") if result.created else _("Case %(case)s holds this.")
    messages.success(request, said % {"case": result.case.reference})
    return redirect("case_detail", reference=result.case.reference)


@require_safe
@role_required("office", "assessor")
def upload_template(request: HttpRequest) -> HttpResponse:
    """The empty XLSX with its lists and explanations."""
    return download(write_template(), XLSX, _("case-template") + ".xlsx")


@require_safe
@role_required("office", "assessor")
def case_export(request: HttpRequest, reference: str, form: str) -> HttpResponse:
    """The case as a folder that imports again to the same numbers."""
    cases = Case.objects.visible_to(request.user).for_list()
    case = get_object_or_404(cases, reference=reference)
    kind, export = EXPORTS[form]
    try:
        data = export(case=case)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
        return redirect("case_detail", reference=case.reference)
    return download(data, kind, f"{case.reference.replace('/', '-')}.{form}")


def download(data: bytes, kind: str, name: str) -> HttpResponse:
    """A file to be kept, not shown."""
    response = HttpResponse(data, content_type=kind)
    response["Content-Disposition"] = content_disposition_header(True, name) or "attachment"
    response["X-Content-Type-Options"] = "nosniff"
    return response


def _preview_page(
    request: HttpRequest, name: str, preview: Preview, pending: PendingUpload | None
) -> HttpResponse:
    known = uploads.known_case(preview)
    visible = Case.objects.visible_to(request.user)
    context = {
        "form": CaseFolderForm(),
        "name": name,
        "preview": preview,
        "more": preview.n_faults - len(preview.faults),
        "tables": tables_of(preview),
        "pending": pending,
        "known": known,
        "known_is_visible": known is not None and visible.filter(pk=known.pk).exists(),
    }
    status = 200 if preview.ok else 422
    return render(request, "mitigation/upload_preview.html", context, status=status)
