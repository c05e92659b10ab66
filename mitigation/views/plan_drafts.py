"""Versions of a plan: kept under a name, two of them side by side, let go."""

from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from consult.access import SignedInRequest, role_required
from consult.htmx import back_to, entry_form
from mitigation.forms.plan import DraftForm
from mitigation.models import Case, PlanDraft
from mitigation.pages.plan import read_plan
from mitigation.pages.plan_drafts import NOW, as_kept, side_by_side, versions_of
from mitigation.services.plan_drafts import keep_draft, remove_draft


@require_safe
@role_required("office", "assessor")
def plan_drafts(request: SignedInRequest, reference: str) -> HttpResponse:
    """What was kept, and two versions beside each other."""
    cases = Case.objects.visible_to(request.user).for_list().prefetch_related("guideline__bands")
    case = get_object_or_404(cases, reference=reference)
    drafts = PlanDraft.objects.visible_to(request.user).filter(case=case)
    versions = versions_of(read_plan(case), drafts)
    by_key = {version.key: version for version in versions}
    latest = versions[1].key if len(versions) > 1 else NOW
    first = by_key.get(request.GET.get("first", latest), versions[0])
    second = by_key.get(request.GET.get("second", NOW), versions[0])
    context = {"case": case, "versions": versions, "first": first, "second": second,
               "sides": (first, second), "rows": side_by_side(first, second)}  # fmt: skip
    return render(request, "mitigation/plan_drafts.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required("office", "assessor")
def plan_draft_keep(request: SignedInRequest, reference: str) -> HttpResponse:
    cases = Case.objects.visible_to(request.user).for_list().prefetch_related("guideline__bands")
    case = get_object_or_404(cases, reference=reference)
    form = DraftForm(request.POST or None)
    back = reverse("plan_drafts", args=[reference])
    if form.is_valid():
        items, rows = as_kept(read_plan(case))
        name, uid, now = form.cleaned_data["name"], form.cleaned_data["key"], timezone.now()
        try:
            keep_draft(case=case, by=request.user, now=now, name=name, items=items, rows=rows,
                       uid=uid)  # fmt: skip
        except ValidationError as error:
            form.blame(error)
        else:
            return back_to(request, back)
    context = {"title": _("Keep this plan"), "back": back, "within": _("Versions of the plan"),
               "place": reference}  # fmt: skip
    return entry_form(request, form, context)


@require_POST
@role_required("office", "assessor")
def plan_draft_remove(request: SignedInRequest, reference: str, pk: int) -> HttpResponse:
    drafts = PlanDraft.objects.visible_to(request.user).filter(case__reference=reference)
    remove_draft(draft=get_object_or_404(drafts, pk=pk))
    return redirect("plan_drafts", reference=reference)
