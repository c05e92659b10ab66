"""Orders as the office makes, sends, changes and judges them; and the list of all."""

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from consult.access import SignedInRequest, role_required
from consult.forms.texts import refuse_wrong
from consult.htmx import back_to, entry_form
from consult.models import Firm, User
from consult.pages.downloads import download
from mitigation.forms.orders import AcceptForm, OrderForm, OrdersForm, ReasonForm
from mitigation.models import Case, WorkOrder, WorkReport
from mitigation.pages.orders import order_for, order_page
from mitigation.services.attachments import open_attachment
from mitigation.services.work_orders import (
    call_off_order,
    change_order,
    items_to_order,
    make_orders,
    see_order,
    send_order,
)
from mitigation.services.work_reports import accept_report, return_report

FORM_METHODS = ["GET", "HEAD", "POST"]


@require_http_methods(FORM_METHODS)
@role_required("office")
def orders_make(request: SignedInRequest, reference: str) -> HttpResponse:
    """One order for each firm, of the accepted items that no order has."""
    cases = Case.objects.visible_to(request.user).for_list()
    case = get_object_or_404(cases, reference=reference)
    items = items_to_order(case).whole()
    client = case.property.client
    contact = ", ".join(filter(None, [client.name, client.phone]))
    form = OrdersForm(
        request.POST or None,
        case=case,
        items=items,
        firms=Firm.objects.order_by("name"),
        initial={"contact": contact},
    )
    if form.is_valid():
        try:
            orders = make_orders(
                case=case,
                by=request.user,
                now=timezone.now(),
                firm_of=form.firm_of(),
                words_of=form.words_of(),
                **form.given(),
            )
        except ValidationError as error:
            form.blame(error)
        else:
            words = (
                _("These items are ordered by now.")
                if not orders
                else ngettext(
                    "%(n)d order is made. Look at it, then send it.",
                    "%(n)d orders are made. Look at them, then send them.",
                    len(orders),
                )
            )
            messages.success(request, words % {"n": len(orders)})
            return redirect("case_works", reference=reference)
    context = {"case": case, "form": form}
    status = 422 if form.errors else 200
    return render(request, "mitigation/orders_make.html", context, status=status)


@require_safe
@role_required("office", "assessor", "electrician")
def work_order(request: SignedInRequest, pk: int) -> HttpResponse:
    """An order with its report; that somebody of the firm opened it is noted."""
    order = order_for(request.user, pk)
    if request.user.role == User.Role.ELECTRICIAN and request.method == "GET":
        see_order(order=order, now=timezone.now())
    return order_page(request, order, request.user)


@require_safe
@role_required("office", "assessor", "electrician")
def order_document(request: SignedInRequest, pk: int, file: int) -> HttpResponseBase:
    """A file of the case that goes with an order."""
    order = order_for(request.user, pk)
    row = get_object_or_404(order.documents.select_related("stored"), pk=file)
    try:
        return download(open_attachment(row), row.kind, row.name)
    except ValidationError as error:
        raise Http404 from error


@require_http_methods(FORM_METHODS)
@role_required("office")
def order_edit(request: SignedInRequest, pk: int) -> HttpResponse:
    """What an order says; one that was sent goes out anew."""
    order = order_for(request.user, pk)
    form = OrderForm(request.POST or None, order=order)
    if form.is_valid():
        try:
            change_order(
                order=order,
                by=request.user,
                now=timezone.now(),
                seen=form.cleaned_data["version"] or 0,
                values=form.given(),
            )
        except ValidationError as error:
            form.blame(error)
        else:
            return back_to(request, reverse("work_order", args=[pk]))
    context = {
        "title": _("Change order %(number)s") % {"number": order.number},
        "back": reverse("work_order", args=[pk]),
        "within": _("Work order"),
        "place": order.case.reference,
        "about": ""
        if order.state == WorkOrder.State.DRAFT
        else _("It was sent: what you change goes to the firm as a new sheet."),
    }
    return entry_form(request, form, context)


@require_POST
@role_required("office")
def order_send(request: SignedInRequest, pk: int) -> HttpResponse:
    order = order_for(request.user, pk)
    form = ReasonForm(request.POST)
    if form.is_valid():
        try:
            send_order(
                order=order,
                by=request.user,
                now=timezone.now(),
                reason=form.cleaned_data["reason"],
            )
        except ValidationError as error:
            form.add_error(None, error)
        else:
            messages.success(
                request,
                _("The order is sent. Its sheet is being made.")
                if order.firm.email
                else _("The order is issued. The firm has no e-mail: hand the printed sheet over."),
            )
            return redirect("work_order", pk=pk)
    return order_page(request, order, request.user, send_form=form, status=422)


@require_POST
@role_required("office")
def order_call_off(request: SignedInRequest, pk: int) -> HttpResponse:
    order = order_for(request.user, pk)
    return _done(
        request,
        pk,
        lambda typed: call_off_order(
            order=order, by=request.user, now=timezone.now(), reason=typed["reason"]
        ),
        _("The order is called off."),
    )


@require_POST
@role_required("office")
def report_judge(request: SignedInRequest, pk: int, report: int, act: str) -> HttpResponse:
    """Accept a signed report, or send it back with why."""
    order = order_for(request.user, pk)
    row = get_object_or_404(WorkReport.objects.filter(order=order).signed(), pk=report)
    now = timezone.now()
    if act == "accept":
        return _done(
            request,
            pk,
            lambda typed: accept_report(
                report=row, by=request.user, now=now, charged=typed["charged"]
            ),
            _("The report is accepted."),
        )
    return _done(
        request,
        pk,
        lambda typed: return_report(report=row, by=request.user, now=now, reason=typed["reason"]),
        _("The report is sent back."),
    )


def _done(
    request: SignedInRequest, pk: int, act: Callable[[dict[str, Any]], object], words: str
) -> HttpResponse:
    """Do what a button with a reason asks for, and say so."""
    form = AcceptForm(request.POST)
    try:
        refuse_wrong(form)
        act(form.cleaned_data)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        messages.success(request, words)
    return redirect("work_order", pk=pk)
