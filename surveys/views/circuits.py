"""Panels, circuits and appliances of a home: entered, put right, taken away while unused."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.forms import BaseForm
from django.http import HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from consult.access import SignedInRequest, role_required
from consult.htmx import back_to, entry_form
from consult.models import Property
from surveys.forms.circuits import ApplianceForm, CircuitForm, PanelForm
from surveys.models import Appliance, Circuit, Panel
from surveys.services import circuits as services

FORM_METHODS = ["GET", "HEAD", "POST"]


@require_http_methods(FORM_METHODS)
@role_required("office", "assessor")
def circuit_add(request: SignedInRequest, pk: int) -> HttpResponse:
    home = get_object_or_404(Property.objects.visible_to(request.user), pk=pk)
    form = CircuitForm(request.POST or None)
    if form.is_valid():
        try:
            services.add_circuit(home=home, by=request.user, **form.given())
        except ValidationError as error:
            form.blame(error)
        else:
            return _back(request, home)
    return _form_page(request, form, _("Add a circuit"), home)


@require_http_methods(FORM_METHODS)
@role_required("office", "assessor")
def circuit_edit(request: SignedInRequest, pk: int) -> HttpResponse:
    rows = Circuit.objects.visible_to(request.user).select_related("panel__property")
    circuit = get_object_or_404(rows, pk=pk)
    form = CircuitForm(request.POST or None, row=circuit)
    if form.is_valid():
        try:
            services.change_circuit(circuit=circuit, by=request.user, **form.given())
        except ValidationError as error:
            form.blame(error)
        else:
            return _back(request, circuit.panel.property)
    return _form_page(request, form, _("Change a circuit"), circuit.panel.property)


@require_POST
@role_required("office", "assessor")
def circuit_remove(request: SignedInRequest, pk: int) -> HttpResponse:
    rows = Circuit.objects.visible_to(request.user).select_related("panel__property")
    circuit = get_object_or_404(rows, pk=pk)
    try:
        services.remove_circuit(circuit=circuit, by=request.user)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    return _back(request, circuit.panel.property)


@require_http_methods(FORM_METHODS)
@role_required("office", "assessor")
def appliance_add(request: SignedInRequest, pk: int) -> HttpResponse:
    home = get_object_or_404(Property.objects.visible_to(request.user), pk=pk)
    form = ApplianceForm(request.POST or None, home=home)
    if form.is_valid():
        try:
            services.add_appliance(home=home, by=request.user, **form.given())
        except ValidationError as error:
            form.blame(error)
        else:
            return _back(request, home)
    return _form_page(request, form, _("Add an appliance"), home)


@require_http_methods(FORM_METHODS)
@role_required("office", "assessor")
def appliance_edit(request: SignedInRequest, pk: int) -> HttpResponse:
    rows = Appliance.objects.visible_to(request.user).select_related("property")
    appliance = get_object_or_404(rows, pk=pk)
    form = ApplianceForm(request.POST or None, home=appliance.property, row=appliance)
    if form.is_valid():
        try:
            services.change_appliance(appliance=appliance, by=request.user, **form.given())
        except ValidationError as error:
            form.blame(error)
        else:
            return _back(request, appliance.property)
    return _form_page(request, form, _("Change an appliance"), appliance.property)


@require_POST
@role_required("office", "assessor")
def appliance_remove(request: SignedInRequest, pk: int) -> HttpResponse:
    rows = Appliance.objects.visible_to(request.user).select_related("property")
    appliance = get_object_or_404(rows, pk=pk)
    try:
        services.remove_appliance(appliance=appliance, by=request.user)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    return _back(request, appliance.property)


@require_http_methods(FORM_METHODS)
@role_required("office", "assessor")
def panel_edit(request: SignedInRequest, pk: int) -> HttpResponse:
    rows = Panel.objects.visible_to(request.user).select_related("property")
    panel = get_object_or_404(rows, pk=pk)
    form = PanelForm(request.POST or None, initial=PanelForm.initial_of(panel))
    if form.is_valid():
        try:
            services.rename_panel(panel=panel, by=request.user, **form.cleaned_data)
        except ValidationError as error:
            form.blame(error)
        else:
            return _back(request, panel.property)
    return _form_page(request, form, _("Rename a panel"), panel.property)


@require_POST
@role_required("office", "assessor")
def panel_remove(request: SignedInRequest, pk: int) -> HttpResponse:
    rows = Panel.objects.visible_to(request.user).select_related("property")
    panel = get_object_or_404(rows, pk=pk)
    try:
        services.remove_panel(panel=panel, by=request.user)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    return _back(request, panel.property)


def _back(request: SignedInRequest, home: Property) -> HttpResponse:
    return back_to(request, reverse("place_list", args=[home.pk]))


def _form_page(
    request: SignedInRequest, form: BaseForm, title: str, home: Property
) -> HttpResponse:
    back = reverse("place_list", args=[home.pk])
    context = {
        "title": title,
        "back": back,
        "within": _("Rooms, spots and circuits"),
        "place": home,
    }
    return entry_form(request, form, context)
