"""Visits: the list, one with its readings and findings, everything that is entered, the seal."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.forms import Form
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.cache import patch_vary_headers
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from consult.access import SignedInRequest, role_required
from consult.htmx import back_to, entry_form, wants_fragment
from consult.letters import words
from surveys.forms.conditions import ConditionsForm
from surveys.forms.readings import ReadingForm
from surveys.forms.visits import (
    GroundCheckCorrectionForm,
    GroundCheckForm,
    GroundPointForm,
    SpotForm,
)
from surveys.models import GroundCheck, Room, Visit
from surveys.pages.visit import PAGE, answer, page_context, put_right
from surveys.pages.visits import wanted_visits
from surveys.services import visits as services
from surveys.services.ground_checks import correct_ground_check, record_ground_check
from surveys.services.places import add_spots
from surveys.services.repeat import baseline_of, to_repeat

PER_PAGE = 50
BLANK_ROWS = 6


def _visit(request: HttpRequest, pk: int) -> Visit:
    rows = Visit.objects.visible_to(request.user).select_related(
        "property__client", "sealed_by", "measured_by"
    )
    return get_object_or_404(rows, pk=pk)


@require_safe
@role_required("office", "assessor")
def visit_list(request: SignedInRequest) -> HttpResponse:
    page = Paginator(wanted_visits(request), PER_PAGE).get_page(request.GET.get("page"))
    context = {
        "page": page,
        "query": request.GET.get("q", "").strip(),
        "state": request.GET.get("state", ""),
        "today": timezone.localdate(),
    }
    return render(request, "surveys/visit_list.html", context)


@require_safe
@role_required("office", "assessor")
def visit_detail(request: SignedInRequest, pk: int) -> HttpResponse:
    visit = _visit(request, pk)
    return render(request, PAGE, page_context(request, visit))


@require_safe
@role_required("office", "assessor")
def visit_sheet(request: SignedInRequest, pk: int) -> HttpResponse:
    """A sheet to print and fill in by hand, with the rooms and spots that are known."""
    visit = _visit(request, pk)
    baseline = baseline_of(visit) if visit.kind == Visit.Kind.FOLLOW_UP else None
    context = {
        "visit": visit,
        "rooms": Room.objects.filter(property=visit.property_id).prefetch_related("spots"),
        "to_repeat": to_repeat(visit, baseline) if baseline else [],
        "blank_rows": range(BLANK_ROWS),
        "ground_sentences": words.ground_sentences(visit.property.country),
    } | put_right(visit)
    return render(request, "surveys/visit_sheet.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required("office", "assessor")
def visit_edit(request: SignedInRequest, pk: int) -> HttpResponse:
    visit = _visit(request, pk)
    initial = ConditionsForm.initial_of(visit, services.version_of(visit))
    form = ConditionsForm(request.POST or None, initial=initial, visit=visit, by=request.user)
    if form.is_valid():
        try:
            services.change_conditions(visit=visit, by=request.user, **form.cleaned_data)
        except ValidationError as error:
            form.blame(error)
        else:
            return back_to(request, _page_of(visit))
    return _form_page(request, form, _("Conditions of the visit"), visit)


@require_POST
@role_required("office", "assessor")
def reading_add(request: SignedInRequest, pk: int) -> HttpResponse:
    visit = _visit(request, pk)
    form = ReadingForm(request.POST, visit=visit)
    if form.is_valid():
        try:
            services.record_reading(
                visit=visit, by=request.user, uid=form.cleaned_data["key"], **form.typed()
            )
        except ValidationError as error:
            form.blame(error)
        else:
            return answer(request, visit, walk=form.cleaned_data["walk"])
    return answer(request, visit, reading_form=form)


@require_safe
@role_required("office", "assessor")
def reading_fields(request: SignedInRequest, pk: int) -> HttpResponse:
    """The units that fit quantity and instrument; of another quantity the instruments, too.

    Nothing else is sent anew: what somebody typed meanwhile on a slow line stays.
    """
    visit = _visit(request, pk)
    if not wants_fragment(request):
        return redirect("visit_detail", pk=visit.pk)
    chosen = {name: request.GET.get(name) for name in ("measurand", "instrument", "unit")}
    form = ReadingForm(visit=visit, initial=chosen)
    form.narrow()
    part = "fitting" if "of" in request.GET else "unit"
    context = {"reading_form": form, "visit": visit, "apart": True}
    response = render(request, f"{PAGE}#{part}", context)
    patch_vary_headers(response, ["HX-Request"])
    return response


@require_POST
@role_required("office", "assessor")
def ground_check_add(request: SignedInRequest, pk: int) -> HttpResponse:
    visit = _visit(request, pk)
    form = GroundCheckForm(request.POST, visit=visit, prefix="check")
    if form.is_valid():
        try:
            typed = {name: value for name, value in form.cleaned_data.items() if name != "key"}
            uid = form.cleaned_data["key"]
            record_ground_check(visit=visit, by=request.user, uid=uid, **typed)
        except ValidationError as error:
            form.blame(error)
        else:
            return answer(request, visit)
    return answer(request, visit, check_form=form)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required("office", "assessor")
def ground_check_correct(request: SignedInRequest, pk: int) -> HttpResponse:
    rows = GroundCheck.objects.visible_to(request.user).select_related("visit__property")
    check = get_object_or_404(rows, pk=pk)
    initial = GroundCheckCorrectionForm.initial_of(check, services.version_of(check))
    form = GroundCheckCorrectionForm(request.POST or None, visit=check.visit, initial=initial)
    if form.is_valid():
        try:
            correct_ground_check(check=check, by=request.user, **form.cleaned_data)
        except ValidationError as error:
            form.blame(error)
        else:
            return back_to(request, _page_of(check.visit))
    return _form_page(request, form, _("Correct a ground check"), check.visit)


@require_POST
@role_required("office", "assessor")
def spot_add(request: SignedInRequest, pk: int) -> HttpResponse:
    visit = _visit(request, pk)
    form = SpotForm(request.POST, prefix="place")
    if form.is_valid():
        try:
            spots = add_spots(visit=visit, by=request.user, **form.typed())
        except ValidationError as error:
            form.blame(error)
        else:
            return answer(request, visit, spot=spots[0])
    return answer(request, visit, spot_form=form)


@require_POST
@role_required("office", "assessor")
def ground_point_add(request: SignedInRequest, pk: int) -> HttpResponse:
    visit = _visit(request, pk)
    form = GroundPointForm(request.POST, prefix="point")
    if form.is_valid():
        try:
            services.add_ground_point(visit=visit, by=request.user, **form.cleaned_data)
        except ValidationError as error:
            form.blame(error)
        else:
            return answer(request, visit)
    return answer(request, visit, point_form=form)


@require_POST
@role_required("office", "assessor")
def visit_seal(request: SignedInRequest, pk: int) -> HttpResponse:
    visit = _visit(request, pk)
    if "sure" not in request.POST:
        messages.error(request, _("Say that you have looked through the readings before you seal."))
        return redirect("visit_detail", pk=visit.pk)
    try:
        seen = request.POST.get("seen", "")
        services.seal_visit(visit=visit, by=request.user, now=timezone.now(), seen=seen)
    except ValidationError as error:
        for sentence in error.messages:
            messages.error(request, sentence)
    else:
        messages.success(request, _("The visit is sealed. Nothing in it changes any more."))
    return redirect("visit_detail", pk=visit.pk)


def _form_page(request: HttpRequest, form: Form, title: str, visit: Visit) -> HttpResponse:
    context = {"title": title, "within": visit.label, "place": visit.property}
    return entry_form(request, form, context | {"back": _page_of(visit)})


def _page_of(visit: Visit) -> str:
    return reverse("visit_detail", args=[visit.pk])
