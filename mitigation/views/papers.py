"""Notes and files on a case, for the practice alone."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from consult.access import role_required
from consult.models import User
from mitigation.forms.cases import AttachmentForm
from mitigation.models import Attachment, Case
from mitigation.services.attachments import attach_file, attached_bytes
from mitigation.services.cases import add_note
from mitigation.views.uploads import download


@require_POST
@role_required("office", "assessor")
def note_add(request: HttpRequest, reference: str) -> HttpResponse:
    case = get_object_or_404(Case.objects.visible_to(request.user), reference=reference)
    assert isinstance(request.user, User)
    try:
        add_note(case=case, text=request.POST.get("text", ""), by=request.user, now=timezone.now())
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        messages.success(request, _("The note is kept."))
    return redirect("case_detail", reference=reference)


@require_POST
@role_required("office", "assessor")
def file_attach(request: HttpRequest, reference: str) -> HttpResponse:
    case = get_object_or_404(Case.objects.visible_to(request.user), reference=reference)
    form = AttachmentForm(request.POST, request.FILES)
    assert isinstance(request.user, User)
    try:
        if not form.is_valid():
            raise ValidationError([word for words in form.errors.values() for word in words])
        file = form.cleaned_data["file"]
        attach_file(
            case=case, name=file.name, data=file.read(), by=request.user, now=timezone.now()
        )
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        messages.success(request, _("The file is attached."))
    return redirect("case_detail", reference=reference)


@require_safe
@role_required("office", "assessor")
def attachment(request: HttpRequest, pk: int) -> HttpResponse:
    """A file to keep; it is never shown inside the site."""
    row = get_object_or_404(Attachment.objects.visible_to(request.user), pk=pk)
    try:
        return download(attached_bytes(row), row.kind, row.name)
    except ValidationError as error:
        raise Http404 from error
