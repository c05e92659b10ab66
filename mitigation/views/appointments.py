"""Appointments: proposed, answered with a log-in or by the mailed link, called off, taken away."""

from django.contrib import messages
from django.core.exceptions import PermissionDenied, ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import activate
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_safe

from consult.access import SignedInRequest, role_required
from consult.htmx import back_to, entry_form
from consult.models import User
from consult.pages.downloads import download, plain_name
from consult.services.calendar_files import KIND
from mitigation.forms.appointments import AnswerForm, AppointmentOffForm, ProposalForm
from mitigation.models import Appointment, WorkOrder
from mitigation.models.appointments import AppointmentQuerySet
from mitigation.pages.appointments import may_answer_as
from mitigation.services.appointment_files import file_of, is_latest
from mitigation.services.appointments import (
    agree_time,
    call_off_appointment,
    decline_times,
    propose_times,
)
from mitigation.services.work_orders import order_of_token

FORM_METHODS = ["GET", "HEAD", "POST"]
GONE = "mitigation/appointment_answered.html"


@require_http_methods(FORM_METHODS)
@role_required("office", "electrician")
def appointment_propose(request: SignedInRequest, pk: int) -> HttpResponse:
    """Times for an order, to the other side; or what both agreed on, by the office."""
    orders = WorkOrder.objects.visible_to(request.user).for_list()
    order = get_object_or_404(orders, pk=pk)
    form = ProposalForm(request.POST or None, order=order, by=request.user)
    is_office = request.user.role == User.Role.OFFICE
    side = Appointment.Side.OFFICE if is_office else Appointment.Side.FIRM
    if form.is_valid():
        try:
            propose_times(
                order=order, side=side, asked=form.asked_side(), starts=form.starts(),
                minutes=form.cleaned_data["minutes"], name=request.user.name, by=request.user,
                now=timezone.now(),
            )  # fmt: skip
        except ValidationError as error:
            form.blame(error)
        else:
            return back_to(request, reverse("work_order", args=[pk]))
    context = {
        "title": _("Propose an appointment"),
        "back": reverse("work_order", args=[pk]),
        "within": _("Work order"),
        "place": order.case.reference,
        "about": _("What is agreed already holds until another time is agreed."),
    }
    return entry_form(request, form, context)


@require_http_methods(FORM_METHODS)
@role_required("office", "electrician")
def appointment_answer(request: SignedInRequest, pk: int) -> HttpResponse:
    """The firm that is asked chooses one of the times, or none; or the office for who is asked."""
    return _answer(request, pk)


@require_http_methods(FORM_METHODS)
@role_required("client")
def own_appointment_answer(request: SignedInRequest, pk: int) -> HttpResponse:
    """The client who is asked chooses one of the times, or none."""
    return _answer(request, pk)


def _answer(request: SignedInRequest, pk: int) -> HttpResponse:
    appointment = get_object_or_404(_visible(request), pk=pk)
    if not may_answer_as(appointment, request.user.role):
        raise PermissionDenied
    form = AnswerForm(
        request.POST or None,
        appointment=appointment,
        user=request.user,
        initial={"name": request.user.name},
    )
    back = _page_of(appointment, request.user)
    if _is_answered(request, form, by=request.user):
        return back_to(request, back)
    return _answer_page(request, form, back)


@require_http_methods(FORM_METHODS)
@never_cache
def order_link_appointment(request: HttpRequest, token: str) -> HttpResponse:
    """The same for the firm, by the link of its order; a look changes nothing."""
    order = order_of_token(token)
    if order is None:
        return render(request, GONE, {"is_gone": True}, status=410)
    activate(order.firm.language)
    rows = Appointment.objects.open().filter(order=order, asked=Appointment.Asked.FIRM)
    appointment = rows.for_list().prefetch_related("times").first()
    if appointment is None:  # somebody answered, or it was taken back
        return render(request, GONE, {"token": token}, status=410)
    form = AnswerForm(request.POST or None, appointment=appointment, user=None)
    if _is_answered(request, form, by=None):
        if order_of_token(token) is None:  # the sheet is made anew with the day in it
            return render(request, GONE, {"is_thanks": True})
        return redirect("order_link", token=token)
    return _answer_page(request, form, reverse("order_link", args=[token]))


@require_http_methods(FORM_METHODS)
@role_required("office", "electrician")
def appointment_call_off(request: SignedInRequest, pk: int) -> HttpResponse:
    """Call off what is agreed, or take a proposal back."""
    appointment = get_object_or_404(_visible(request), pk=pk)
    form = AppointmentOffForm(request.POST or None)
    back = _page_of(appointment, request.user)
    if form.is_valid():
        try:
            call_off_appointment(
                appointment=appointment,
                reason=form.cleaned_data["reason"],
                by=request.user,
                now=timezone.now(),
            )
        except ValidationError as error:
            form.blame(error)
        else:
            messages.success(request, _("The appointment is called off."))
            return back_to(request, back)
    context = {
        "title": _("Call the appointment off"),
        "back": back,
        "within": _("Work order"),
        "place": appointment.order.case.reference,
    }
    return entry_form(request, form, context)


@require_safe
@role_required("office", "assessor", "electrician")
def appointment_file(request: SignedInRequest, pk: int) -> HttpResponseBase:
    """The appointment for a calendar; of one that another took the place of there is none."""
    return _file(request, pk)


@require_safe
@role_required("client")
def own_appointment_file(request: SignedInRequest, pk: int) -> HttpResponseBase:
    """The same for the client, without the order."""
    return _file(request, pk)


def _file(request: SignedInRequest, pk: int) -> HttpResponseBase:
    appointment = get_object_or_404(_visible(request), pk=pk)
    if not is_latest(appointment):
        raise Http404
    name = f"{plain_name(appointment.order.case.reference)}-{appointment.order.number}.ics"
    return download(file_of(appointment, request.user).encode(), KIND, name)


def _visible(request: SignedInRequest) -> AppointmentQuerySet:
    rows = Appointment.objects.visible_to(request.user).for_list()
    return rows.prefetch_related("times")


def _page_of(appointment: Appointment, user: User) -> str:
    if user.role == User.Role.CLIENT:
        return reverse("client_home")
    return reverse("work_order", args=[appointment.order_id])


def _is_answered(request: HttpRequest, form: AnswerForm, *, by: User | None) -> bool:
    """Whether the answer was kept; if not, the form says why."""
    if not form.is_valid():
        return False
    typed, at, now = form.cleaned_data, form.chosen(), timezone.now()
    row = form.appointment
    try:
        if at is not None:
            agree_time(appointment=row, starts_at=at, name=typed["name"], by=by, now=now)
            messages.success(request, _("Thank you. The appointment is agreed."))
        else:
            decline_times(
                appointment=row, reason=typed["reason"], name=typed["name"], by=by, now=now
            )
            messages.success(request, _("Thank you. The practice sees what would suit."))
    except ValidationError as error:
        form.blame(error)
        return False
    return True


def _answer_page(request: HttpRequest, form: AnswerForm, back: str) -> HttpResponse:
    order = form.appointment.order
    context = {
        "title": _("Answer the proposed times"),
        "back": back,
        "about": _("%(firm)s, case %(case)s")
        % {"firm": order.firm.name, "case": order.case.reference},
    }
    return entry_form(request, form, context)
