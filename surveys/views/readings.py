"""One reading, followed down to its instrument, certificate and rules; put right or set aside."""

from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from consult.access import SignedInRequest, role_required
from consult.models import User
from surveys.forms.readings import (
    CorrectionForm,
    ReadingForm,
    SealedCorrectionForm,
    SetAsideForm,
)
from surveys.models import Reading, displays
from surveys.pages.visit import (
    choice_of,
    chosen_guideline,
    chosen_placement,
    put_right,
)
from surveys.results import RULES, reading_figures
from surveys.services import corrections
from surveys.services import visits as services


def _reading(request: HttpRequest, pk: int) -> Reading:
    rows = Reading.objects.visible_to(request.user).select_related(
        "visit__property__client", "visit__source", "spot__room", "ground_point", "instrument",
        "calibration",
    )  # fmt: skip
    return get_object_or_404(rows, pk=pk)


def _page(
    request: HttpRequest, reading: Reading, form: SetAsideForm, status: int = 200
) -> HttpResponse:
    guideline, placement = chosen_guideline(request), chosen_placement(request)
    visit, calibration = reading.visit, reading.calibration
    figures = reading_figures(visit, guideline=guideline, placement=placement)
    bands = guideline.bands.filter(measurand=reading.measurand)
    figure = figures[reading.pk]
    after_the_seal = put_right(visit)
    context = after_the_seal | {
        "reading": reading,
        "visit": visit,
        "correction": after_the_seal["corrected"].get(reading.pk),
        "origin": after_the_seal["corrects"].get(reading.pk),
        "chain": corrections.chain_of(reading, after_the_seal["corrections"]),
        "figure": figure,
        "band": bands.filter(number=figure.band).first(),
        "bands": bands,
        "guideline": guideline,
        "cells": displays.CELLS,
        "calibration": calibration,
        "in_force": calibration is not None and calibration.covers(visit.date),
        "placement_percent": round(100 * placement, 6),
        "choice": choice_of(guideline, placement),
        "rules": RULES,
        "form": form,
        "history": reading.history.select_related("history_user"),
    }
    return render(request, "surveys/reading_detail.html", context, status=status)


@require_safe
@role_required("office", "assessor")
def reading_detail(request: SignedInRequest, pk: int) -> HttpResponse:
    return _page(request, _reading(request, pk), SetAsideForm())


@require_http_methods(["GET", "HEAD", "POST"])
@role_required("office", "assessor")
def reading_correct(request: SignedInRequest, pk: int) -> HttpResponse:
    """Change a reading of an open visit; put one beside it once the visit is sealed."""
    reading = _reading(request, pk)
    if reading.visit.sealed_at is not None:
        return _correct_sealed(request, reading, request.user)
    initial = ReadingForm.initial_of(reading) | {"version": services.version_of(reading)}
    form = CorrectionForm(request.POST or None, visit=reading.visit, initial=initial)
    if form.is_valid():
        version = form.cleaned_data["version"]
        try:
            services.correct_reading(
                reading=reading, by=request.user, version=version, **form.typed()
            )
        except ValidationError as error:
            form.blame(error)
        else:
            return redirect("reading_detail", pk=reading.pk)
    context = {"reading": reading, "visit": reading.visit, "form": form}
    status = 422 if form.errors else 200
    return render(request, "surveys/reading_form.html", context, status=status)


def _correct_sealed(request: HttpRequest, reading: Reading, by: User) -> HttpResponse:
    initial = ReadingForm.initial_of(reading)
    form = SealedCorrectionForm(request.POST or None, reading=reading, initial=initial)
    if form.is_valid():
        key, reason = form.cleaned_data["key"], form.cleaned_data["reason"]
        try:
            new = corrections.correct_sealed_reading(
                reading=reading, by=by, now=timezone.now(), reason=reason, key=key, **form.typed()
            )
        except ValidationError as error:
            form.blame(error)
        else:
            return redirect("reading_detail", pk=new.pk)
    context = {"reading": reading, "visit": reading.visit, "form": form}
    status = 422 if form.errors else 200
    return render(request, "surveys/reading_replace.html", context, status=status)


@require_POST
@role_required("office", "assessor")
def reading_set_aside(request: SignedInRequest, pk: int) -> HttpResponse:
    """With a reason the reading counts no more; "take back" makes it count again."""
    reading = _reading(request, pk)
    form = SetAsideForm(request.POST)
    try:
        if reading.visit.sealed_at is not None and form.is_valid():
            key, reason = form.cleaned_data["key"], form.cleaned_data["reason"]
            corrections.set_aside_sealed_reading(
                reading=reading, by=request.user, now=timezone.now(), reason=reason, key=key
            )
            return redirect("reading_detail", pk=reading.pk)
        if "take_back" in request.POST:
            services.take_back_reading(reading=reading, by=request.user)
            return redirect("reading_detail", pk=reading.pk)
        if form.is_valid():
            reason = form.cleaned_data["reason"]
            services.set_aside_reading(reading=reading, by=request.user, reason=reason)
            return redirect("visit_detail", pk=reading.visit_id)
    except ValidationError as error:
        form.full_clean()
        form.blame(error)
    return _page(request, reading, form, status=422)
