"""Registers: instruments with certificates and what falls due, guidelines, own placement."""

from collections.abc import Sequence
from datetime import date
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.db.models import Count, Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from consult.access import role_required
from consult.htmx import back_to, entry_form
from consult.models import User
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
from surveys.models import Calibration, Guideline, Instrument, Measurand, Reading
from surveys.services import registers as services
from surveys.services.histories import guideline_changes, instrument_changes
from surveys.services.placement import own_placement

CHANGES_PER_PAGE = 20
FORM_METHODS = ["GET", "HEAD", "POST"]


def _who(request: HttpRequest) -> User:
    assert isinstance(request.user, User)
    return request.user


@require_safe
@role_required("office", "assessor")
def instrument_list(request: HttpRequest) -> HttpResponse:
    """Instruments by what falls due next, late ones first."""
    standings, others = instrument_rows(timezone.localdate())
    context = {"standings": standings, "others": others}
    return render(request, "surveys/instrument_list.html", context)


def instrument_rows(today: date) -> tuple[Sequence[services.Standing], QuerySet[Instrument]]:
    """What falls due, by quantity; then those out of use or not described yet."""
    standings = services.falling_due(today=today)
    shown = {one.calibration.instrument_id for one in standings}
    return standings, Instrument.objects.exclude(pk__in=shown).order_by("is_retired", "name")


@require_safe
@role_required("office", "assessor")
def instrument_detail(request: HttpRequest, pk: int) -> HttpResponse:
    """Its certificates, and who changed what of it."""
    instrument = get_object_or_404(Instrument, pk=pk)
    changes = latest_first(instrument_changes([instrument.pk], Names()))
    page = Paginator(changes, CHANGES_PER_PAGE).get_page(request.GET.get("page"))
    context = {
        "instrument": instrument,
        "calibrations": certificates_of(instrument),
        "today": timezone.localdate(),
        "page": page,
        "changes": page.object_list,
    }
    return render(request, "surveys/instrument_detail.html", context)


def certificates_of(instrument: Instrument) -> QuerySet[Calibration]:
    """Its rows, each with the number of sealed readings that stand on it."""
    sealed = Count("readings", filter=Q(readings__visit__sealed_at__isnull=False))
    return instrument.calibrations.annotate(n_sealed=sealed)


@require_http_methods(FORM_METHODS)
@role_required("office")
def instrument_add(request: HttpRequest) -> HttpResponse:
    form = InstrumentForm(request.POST or None)
    if form.is_valid():
        try:
            instrument = services.add_instrument(by=_who(request), **form.cleaned_data)
        except ValidationError as error:
            form.blame(error)
        else:
            return back_to(request, _page_of(instrument))
    return _form_page(request, form, _("A new instrument"))


@require_http_methods(FORM_METHODS)
@role_required("office")
def instrument_edit(request: HttpRequest, pk: int) -> HttpResponse:
    instrument = get_object_or_404(Instrument, pk=pk)
    initial = InstrumentChangeForm.initial_of(instrument, version_of(instrument))
    form = InstrumentChangeForm(request.POST or None, initial=initial)
    if form.is_valid():
        try:
            services.change_instrument(instrument=instrument, by=_who(request), **form.cleaned_data)
        except ValidationError as error:
            form.blame(error)
        else:
            return back_to(request, _page_of(instrument))
    return _form_page(request, form, instrument.name, instrument)


@require_http_methods(FORM_METHODS)
@role_required("office")
def calibration_add(request: HttpRequest, pk: int) -> HttpResponse:
    instrument = get_object_or_404(Instrument, pk=pk)
    form = CalibrationForm(request.POST or None)
    if form.is_valid():
        try:
            services.add_calibration(instrument=instrument, by=_who(request), **form.cleaned_data)
        except ValidationError as error:
            form.blame(error)
        else:
            return back_to(request, _page_of(instrument))
    return _form_page(request, form, _("A new certificate"), instrument)


@require_http_methods(FORM_METHODS)
@role_required("office")
def calibration_edit(request: HttpRequest, pk: int) -> HttpResponse:
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
                calibration=calibration, by=_who(request), **form.cleaned_data
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
def guideline_list(request: HttpRequest) -> HttpResponse:
    """Every guideline with its bands."""
    changes = latest_first(guideline_changes(Names()))
    context = {"tables": guideline_tables(), "changes": changes}
    return render(request, "surveys/guideline_list.html", context)


def guideline_tables() -> list[dict[str, Any]]:
    """Each guideline with a row per quantity, the built-in ones first."""
    guidelines = Guideline.objects.order_by("-is_built_in", "code").prefetch_related("bands")
    return [
        {
            "guideline": guideline,
            "rows": [
                {
                    "measurand": measurand,
                    "bands": [one for one in guideline.bands.all() if one.measurand == measurand],
                }
                for measurand in Measurand.values
            ],
        }
        for guideline in guidelines
    ]


@require_http_methods(FORM_METHODS)
@role_required("office")
def guideline_add(request: HttpRequest) -> HttpResponse:
    form = GuidelineForm(request.POST or None)
    if form.is_valid():
        try:
            services.add_guideline(by=_who(request), **form.typed())
        except ValidationError as error:
            form.blame_bounds(error.message_dict)
        else:
            return redirect("guideline_list")
    status = 422 if form.errors else 200
    return render(request, "surveys/guideline_form.html", {"form": form}, status=status)


@require_POST
@role_required("office")
def guideline_remove(request: HttpRequest, code: str) -> HttpResponse:
    guideline = get_object_or_404(Guideline, code=code)
    try:
        services.remove_guideline(guideline=guideline, by=_who(request))
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        messages.success(request, _("%(code)s is taken away.") % {"code": code})
    return redirect("guideline_list")


@require_safe
@role_required("office", "assessor")
def placement(request: HttpRequest) -> HttpResponse:
    """What repeat readings tell about putting the probe back."""
    context = {
        "own": own_placement(Reading.objects.visible_to(request.user)),
        "assumed_percent": 100 * DEFAULT_PLACEMENT,
    }
    return render(request, "surveys/placement.html", context)
