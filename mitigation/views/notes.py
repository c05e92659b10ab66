"""Notes on a case, for the practice alone."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from consult.access import SignedInRequest, role_required
from mitigation.models import Case
from mitigation.services.cases import add_note


@require_POST
@role_required("office", "assessor")
def note_add(request: SignedInRequest, reference: str) -> HttpResponse:
    case = get_object_or_404(Case.objects.visible_to(request.user), reference=reference)
    try:
        add_note(case=case, text=request.POST.get("text", ""), by=request.user, now=timezone.now())
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        messages.success(request, _("The note is saved."))
    return redirect("case_detail", reference=reference)
