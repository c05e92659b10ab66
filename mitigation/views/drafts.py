"""Drafts of letters, to look at before one is issued."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db.models import QuerySet
from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.cache import patch_vary_headers
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from consult.access import SignedInRequest, role_required
from consult.htmx import wants_fragment
from consult.intake.contents import PDF
from consult.letter_kinds import letter_kind
from mitigation.models import Case, LetterDraft
from mitigation.services.drafts import ask_draft, draft_progress, open_draft

PAGE = "mitigation/draft_detail.html"


@require_POST
@role_required("office", "assessor")
def draft_make(request: SignedInRequest, reference: str, kind: str) -> HttpResponse:
    case = get_object_or_404(Case.objects.visible_to(request.user).for_list(), reference=reference)
    if letter_kind(kind) is None:
        raise Http404
    try:
        draft = ask_draft(kind=kind, case=case, by=request.user, now=timezone.now())
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
        return redirect("case_detail", reference=case.reference)
    return redirect("draft_detail", pk=draft.pk)


@require_safe
@role_required("office", "assessor")
def draft_detail(request: SignedInRequest, pk: int) -> HttpResponse:
    """A draft with its state, which the page asks for anew while it is being made."""
    draft = get_object_or_404(_drafts(request).select_related("case"), pk=pk)
    kind = letter_kind(draft.kind)
    context = {
        "draft": draft,
        "case": draft.case,
        "being_made": draft.state == LetterDraft.State.QUEUED,
        "progress": draft_progress(draft),
        "issue_label": kind.issue_label if kind else "",
    }
    name = f"{PAGE}#state" if wants_fragment(request) else PAGE
    response = render(request, name, context)
    patch_vary_headers(response, ["HX-Request"])
    return response


@require_safe
@role_required("office", "assessor")
def draft_file(request: SignedInRequest, pk: int) -> HttpResponseBase:
    draft = get_object_or_404(_drafts(request).select_related("stored", "case"), pk=pk)
    try:
        file = open_draft(draft)
    except ValidationError as error:
        raise Http404 from error
    name = _("draft-%(case)s.pdf") % {"case": draft.case.reference}
    return FileResponse(file, content_type=PDF, filename=name)


def _drafts(request: HttpRequest) -> QuerySet[LetterDraft]:
    return LetterDraft.objects.visible_to(request.user).live(timezone.now())
