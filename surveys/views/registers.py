"""Registers: instruments with certificates and what falls due, guidelines, own placement."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from consult.access import SignedInRequest, role_required
from consult.htmx import back_to, entry_form
from consult.services.changes import version_of
from consult.services.histories import Names, latest_first
from surveys.calc.uncertainty import DEFAULT_PLACEMENT
from surveys.forms.registers import (
    CalibrationChangeForm,
    CalibrationForm,
    GuidelineForm,
    InstrumentChangeForm,
    InstrumentForm,
)
from surveys.models import Calibration, Guideline, Instrument, Reading
from surveys.pages.registers import certificates_of, guideline_tables, instrument_rows
from surveys.results.certificates import Register
from surveys.services import registers as services
from surveys.services.histories import guideline_changes, instrument_changes
from surveys.services.placement import own_placement

CHANGES_PER_PAGE = 20
FORM_METHODS = ["GET", "HEAD", "POST"]


@require_safe
@role_required("office", "assessor")
def instrument_list(request: SignedInRequest) -> HttpResponse:
    """Instruments by what falls due next, late ones first."""
    standings, others = instrument_rows(timezone.localdate())
    context = {"standings": standings, "others": others}
    return render(request, "surveys/instrument_list.html", context)


@require_safe
@role_required("office", "assessor")
def instrument_detail(request: SignedInRequest, pk: int) -> HttpResponse:
    """Its certificates, and who changed what of it."""
    instrument = get_object_or_404(Instrument, pk=pk)
    changes = latest_first(instrument_changes([instrument.pk], Names()))
    page = Paginator(changes, CHANGES_PER_PAGE).get_page(request.GET.get("page"))
    rows = certificates_of(instrument)
    standings = Register(rows).standings(timezone.localdate())
    context = {
        "instrument": instrument,
        "calibrations": rows,
        "late": {standing.calibration.pk for standing in standings if standing.is_late},
        "page": page,
        "changes": page.object_list,
    }
    return render(request, "surveys/instrument_detail.html", context)


@require_http_methods(FORM_METHODS)
@role_required("office")
def instrument_add(request: SignedInRequest) -> HttpResponse:
    form = InstrumentForm(request.POST or None)
    if form.is_valid():
        try:
            instrument = services.add_instrument(by=request.user, **form.cleaned_data)
        except ValidationError as error:
            form.blame(error)
        else:
            return back_to(request, _page_of(instrument))
    return _form_page(request, form, _("A new instrument"))


@require_http_methods(FORM_METHODS)
@role_required("office")
def instrument_edit(request: SignedInRequest, pk: int) -> HttpResponse:
    instrument = get_object_or_404(Instrument, pk=pk)
    initial = InstrumentChangeForm.initial_of(instrument, version_of(instrument))
    form = InstrumentChangeForm(request.POST or None, initial=initial)
    if form.is_valid():
        try:
            services.change_instrument(instrument=instrument, by=request.user, **form.cleaned_data)
        except ValidationError as error:
            form.blame(error)
        else:
            return back_to(request, _page_of(instrument))
    return _form_page(request, form, instrument.name, instrument)


@require_http_methods(FORM_METHODS)
@role_required("office")
def calibration_add(request: SignedInRequest, pk: int) -> HttpResponse:
    instrument = get_object_or_404(Instrument, pk=pk)
    form = CalibrationForm(request.POST or None)
    if form.is_valid():
        try:
            services.add_calibration(instrument=instrument, by=request.user, **form.cleaned_data)
        except ValidationError as error:
            form.blame(error)
        else:
            return back_to(request, _page_of(instrument))
    return _form_page(request, form, _("A new certificate"), instrument)


@require_http_methods(FORM_METHODS)
@role_required("office")
def calibration_edit(request: SignedInRequest, pk: int) -> HttpResponse:
    rows = Calibration.objects.select_related("instrument")
    calibration = get_object_or_404(rows, pk=pk)
    instrument = calibration.instrument
    if services.is_fixed(calibration) and request.method != "POST":
        messages.info(request, _("Sealed readings stand on this certificate; it is read-only."))
        return redirect("instrument_detail", pk=instrument.pk)
    initial = CalibrationChangeForm.initial_of(calibration, version_of(calibration))
    form = CalibrationChangeForm(request.POST or None, initial=initial)
    if form.is_valid():
        try:
            services.change_calibration(
                calibration=calibration, by=request.user, **form.cleaned_data
            )
        except ValidationError as error:
            form.blame(error)
        else:
            return back_to(request, _page_of(instrument))
    return _form_page(request, form, _("Correct a certificate"), instrument)


def _page_of(instrument: Instrument) -> str:
    return reverse("instrument_detail", args=[instrument.pk])


def _form_page(
    request: HttpRequest,
    form: InstrumentForm | CalibrationForm,
    title: str,
    instrument: Instrument | None = None,
) -> HttpResponse:
    back = reverse("instrument_list") if instrument is None else _page_of(instrument)
    return entry_form(request, form, {"title": title, "within": instrument, "back": back})


@require_safe
@role_required("office", "assessor")
def guideline_list(request: SignedInRequest) -> HttpResponse:
    """Every guideline with its bands."""
    changes = latest_first(guideline_changes(Names()))
    context = {"tables": guideline_tables(), "changes": changes}
    return render(request, "surveys/guideline_list.html", context)


@require_http_methods(FORM_METHODS)
@role_required("office")
def guideline_add(request: SignedInRequest) -> HttpResponse:
    form = GuidelineForm(request.POST or None)
    if form.is_valid():
        try:
            services.add_guideline(by=request.user, **form.typed())
        except ValidationError as error:
            form.blame_bounds(error.message_dict)
        else:
            return redirect("guideline_list")
    status = 422 if form.errors else 200
    return render(request, "surveys/guideline_form.html", {"form": form}, status=status)


@require_POST
@role_required("office")
def guideline_remove(request: SignedInRequest, code: str) -> HttpResponse:
    guideline = get_object_or_404(Guideline, code=code)
    try:
        services.remove_guideline(guideline=guideline, by=request.user)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        messages.success(request, _("%(code)s is taken away.") % {"code": code})
    return redirect("guideline_list")


@require_safe
@role_required("office", "assessor")
def placement(request: SignedInRequest) -> HttpResponse:
    """What repeat readings tell about putting the probe back."""
    context = {
        "own": own_placement(Reading.objects.visible_to(request.user)),
        "assumed_percent": 100 * DEFAULT_PLACEMENT,
    }
    return render(request, "surveys/placement.html", context)
