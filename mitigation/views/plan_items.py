"""Items that a plan may be made of: put in by hand or as offered, changed, taken out."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db.models import QuerySet
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_POST

from consult.access import SignedInRequest, role_required
from consult.htmx import back_to, entry_form
from mitigation.forms.plan import PlanItemForm
from mitigation.letters.remedy_words import remedy_name
from mitigation.models import Case, PlanItem, Remedy
from mitigation.pages.plan import read_plan, suggested
from mitigation.services.plan_items import add_item, change_item, put_in, remove_item

FORM_METHODS = ["GET", "HEAD", "POST"]


@require_http_methods(FORM_METHODS)
@role_required("office", "assessor")
def plan_item_add(request: SignedInRequest, reference: str, kind: str) -> HttpResponse:
    cases = Case.objects.visible_to(request.user).select_related("property")
    case = get_object_or_404(cases, reference=reference)
    remedy = get_object_or_404(Remedy.objects.offered(), key=kind)
    form = PlanItemForm(request.POST or None, home=case.property, remedy=remedy)
    if form.is_valid():
        try:
            add_item(case=case, by=request.user, remedy=remedy, **form.given())
        except ValidationError as error:
            form.blame(error)
        else:
            return _back(request, case)
    return _form_page(request, form, remedy_name(remedy.name), case)


@require_http_methods(FORM_METHODS)
@role_required("office", "assessor")
def plan_item_edit(request: SignedInRequest, reference: str, pk: int) -> HttpResponse:
    item = get_object_or_404(_items(request, reference), pk=pk)
    form = PlanItemForm(request.POST or None, home=item.case.property, remedy=item.remedy, row=item)
    if form.is_valid():
        try:
            change_item(item=item, by=request.user, **form.given())
        except ValidationError as error:
            form.blame(error)
        else:
            return _back(request, item.case)
    return _form_page(request, form, f"{item.name}: {remedy_name(item.remedy.name)}", item.case)


@require_POST
@role_required("office", "assessor")
def plan_item_remove(request: SignedInRequest, reference: str, pk: int) -> HttpResponse:
    item = get_object_or_404(_items(request, reference), pk=pk)
    try:
        remove_item(item=item, by=request.user)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    return _back(request, item.case)


@require_POST
@role_required("office", "assessor")
def plan_put_in(request: SignedInRequest, reference: str) -> HttpResponse:
    """Make items of what the page offers: one, or all; what is there by now is passed over."""
    cases = Case.objects.visible_to(request.user).for_list().prefetch_related("guideline__bands")
    case = get_object_or_404(cases, reference=reference)
    keys = None if "all" in request.POST else request.POST.getlist("offer")
    items = put_in(case=case, by=request.user, suggestions=suggested(read_plan(case), keys))
    if items:
        words = ngettext("%(n)d item is put in.", "%(n)d items are put in.", len(items))
        messages.success(request, words % {"n": len(items)})
    return redirect("case_plan", reference=reference)


def _items(request: SignedInRequest, reference: str) -> QuerySet[PlanItem]:
    rows = PlanItem.objects.visible_to(request.user).filter(case__reference=reference)
    return rows.select_related("case__property", "remedy")


def _back(request: SignedInRequest, case: Case) -> HttpResponse:
    return back_to(request, reverse("case_plan", args=[case.reference]))


def _form_page(
    request: SignedInRequest, form: PlanItemForm, title: str, case: Case
) -> HttpResponse:
    context = {
        "title": title,
        "back": reverse("case_plan", args=[case.reference]),
        "within": _("Plan of remedies"),
        "place": case.reference,
    }
    return entry_form(request, form, context)
