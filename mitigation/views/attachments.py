"""Files on a case, for the practice alone."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.cache import patch_vary_headers
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from consult.access import SignedInRequest, role_required, takes_files
from consult.forms.texts import refuse_wrong
from consult.htmx import wants_fragment
from consult.pages.downloads import download, inline_picture
from mitigation.forms.cases import AttachmentForm
from mitigation.models import Attachment, Case
from mitigation.services.attachments import (
    MOST_BYTES,
    attach_file,
    mark_sketch,
    open_attachment,
    remove_refused,
    small_picture,
)


@require_POST
@role_required("office", "assessor")
@takes_files(MOST_BYTES + 100_000)  # and what the form says around it
def file_attach(request: SignedInRequest, reference: str) -> HttpResponse:
    case = get_object_or_404(Case.objects.visible_to(request.user), reference=reference)
    form = AttachmentForm(request.POST, request.FILES)
    try:
        refuse_wrong(form)
        file = form.cleaned_data["file"]
        row = attach_file(
            case=case, name=file.name, content=file, by=request.user, now=timezone.now()
        )
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        if row.state == Attachment.State.CLEANING:
            messages.info(request, _("The picture is attached and is being cleaned."))
        else:
            messages.success(request, _("The file is attached."))
    return redirect("case_detail", reference=reference)


@require_safe
@role_required("office", "assessor")
def attachment(request: SignedInRequest, pk: int) -> HttpResponseBase:
    """A file to keep; it is never shown inside the site. In part: its line on the case's page."""
    row = get_object_or_404(Attachment.objects.visible_to(request.user), pk=pk)
    if wants_fragment(request):
        response = render(request, "mitigation/case_files.html#line", {"file": row})
        patch_vary_headers(response, ["HX-Request"])
        return response
    try:
        return download(open_attachment(row), row.kind, row.name)
    except ValidationError as error:
        raise Http404 from error


@require_safe
@role_required("office", "assessor")
def attachment_picture(request: SignedInRequest, pk: int) -> HttpResponse:
    """A photograph made small, to look at on the page of its case and nowhere else."""
    row = get_object_or_404(Attachment.objects.visible_to(request.user), pk=pk)
    try:
        return inline_picture(small_picture(row))
    except ValidationError as error:
        raise Http404 from error


@require_POST
@role_required("office", "assessor")
def attachment_remove(request: SignedInRequest, pk: int) -> HttpResponse:
    """Take the line of a refused picture off the case."""
    rows = Attachment.objects.visible_to(request.user).select_related("case")
    row = get_object_or_404(rows, pk=pk)
    try:
        remove_refused(attachment=row)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    return redirect("case_detail", reference=row.case.reference)


@require_POST
@role_required("office", "assessor")
def attachment_sketch(request: SignedInRequest, pk: int) -> HttpResponse:
    """Have letters print a picture, or no more."""
    rows = Attachment.objects.visible_to(request.user).select_related("case")
    row = get_object_or_404(rows, pk=pk)
    try:
        mark_sketch(attachment=row, wanted=request.POST.get("wanted") == "yes")
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    return redirect(reverse("case_detail", args=[row.case.reference]) + "#files")
