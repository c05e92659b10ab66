"""A firm's report on its order: entered item by item, signed off, put right by another version."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe
from django_htmx.http import HttpResponseClientRefresh

from consult.access import SignedInRequest, role_required, takes_files
from consult.forms.texts import refuse_wrong
from consult.htmx import entry_form, wants_fragment
from consult.pages.downloads import inline_picture
from mitigation.calc.electrical_tests import practice_of
from mitigation.forms.orders import ReasonForm
from mitigation.forms.reports import PhotoForm, ResultForm, SignatureForm, TestValueForm
from mitigation.letters.remedy_words import remedy_name
from mitigation.models import TestValue, WorkItem, WorkPhoto, WorkResult
from mitigation.pages.orders import order_for, order_page
from mitigation.services.attachments import MOST_BYTES, small_picture
from mitigation.services.work_reports import (
    add_photo,
    add_value,
    begin_again,
    drop_value,
    keep_result,
    open_report,
    sign_off,
)

FORM_METHODS = ["GET", "HEAD", "POST"]


@require_http_methods(FORM_METHODS)
@role_required("office", "electrician")
def report_result(request: SignedInRequest, pk: int, item: int) -> HttpResponse:
    """How an item ended. The office enters what came by hand."""
    row = _work_item(request, pk, item)
    known = WorkResult.objects.filter(report=open_report(row.order), work_item=row).first()
    form = ResultForm(request.POST or None, row=known)
    if form.is_valid():
        try:
            keep_result(
                order=row.order,
                work_item=row,
                by=request.user,
                now=timezone.now(),
                seen=form.cleaned_data["version"],
                values=form.given(),
            )
        except ValidationError as error:
            form.blame(error)
        else:
            return _back(request, row)
    return _form_page(request, form, row, _("How it ended"))


@require_http_methods(FORM_METHODS)
@role_required("office", "electrician")
def report_value_add(request: SignedInRequest, pk: int, item: int) -> HttpResponse:
    row = _work_item(request, pk, item)
    form = TestValueForm(
        request.POST or None,
        practice=practice_of(row.order.case.property.supply_voltage_v),
        firm=row.order.firm,
    )
    if form.is_valid():
        try:
            add_value(
                order=row.order,
                work_item=row,
                by=request.user,
                now=timezone.now(),
                uid=form.cleaned_data["key"],
                **form.given(),
            )
        except ValidationError as error:
            form.blame(error)
        else:
            return _back(request, row)
    return _form_page(request, form, row, _("Test value"))


@require_POST
@role_required("office", "electrician")
def report_value_remove(request: SignedInRequest, pk: int, value: int) -> HttpResponse:
    order = order_for(request.user, pk)
    row = get_object_or_404(TestValue.objects.filter(report__order=order), pk=value)
    try:
        drop_value(order=order, value=row)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    return redirect("work_order", pk=pk)


@require_POST
@role_required("office", "electrician")
@takes_files(MOST_BYTES + 100_000)  # and what the form says around it
def report_photo(request: SignedInRequest, pk: int, item: int) -> HttpResponse:
    row = _work_item(request, pk, item)
    form = PhotoForm(request.POST, request.FILES)
    try:
        refuse_wrong(form)
        file = form.cleaned_data["photo"]
        add_photo(
            order=row.order,
            work_item=row,
            name=file.name,
            content=file,
            by=request.user,
            now=timezone.now(),
        )
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        messages.success(request, _("The photo is kept; it is being cleaned."))
    return redirect(_address(row))


@require_safe
@role_required("office", "assessor", "electrician")
def report_photo_show(request: SignedInRequest, pk: int, photo: int) -> HttpResponseBase:
    """A photo made small, to look at on the page of its order."""
    rows = WorkPhoto.objects.visible_to(request.user).filter(report__order=pk)
    row = get_object_or_404(rows.select_related("attachment"), pk=photo)
    try:
        return inline_picture(small_picture(row.attachment))
    except ValidationError as error:
        raise Http404 from error


@require_POST
@role_required("office", "electrician")
def report_sign(request: SignedInRequest, pk: int) -> HttpResponse:
    order = order_for(request.user, pk)
    form = SignatureForm(request.POST)
    if form.is_valid():
        typed = form.cleaned_data
        try:
            sign_off(
                order=order,
                by=request.user,
                now=timezone.now(),
                name=typed["name"],
                licence=typed["licence"],
                remark=typed["remark"],
                shown_sha256=typed["shown"],
            )
        except ValidationError as error:
            form.blame(error)
        else:
            messages.success(request, _("Thank you. The report is signed and with the office."))
            return redirect("work_order", pk=pk)
    return order_page(request, order, request.user, sign_form=form, status=422)


@require_POST
@role_required("office", "electrician")
def report_again(request: SignedInRequest, pk: int) -> HttpResponse:
    """Begin another version of a signed report."""
    order = order_for(request.user, pk)
    form = ReasonForm(request.POST)
    reason = form.cleaned_data["reason"] if form.is_valid() else ""
    try:
        begin_again(order=order, by=request.user, now=timezone.now(), reason=reason)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    return redirect("work_order", pk=pk)


def _work_item(request: SignedInRequest, pk: int, item: int) -> WorkItem:
    rows = WorkItem.objects.visible_to(request.user).filter(order=pk)
    with_order = rows.select_related(
        "order__case__property", "order__firm", "item__remedy", "item__case"
    )
    row: WorkItem = get_object_or_404(with_order, pk=item)
    return row


def _address(row: WorkItem) -> str:
    return f"{reverse('work_order', args=[row.order_id])}#item-{row.pk}"


def _back(request: SignedInRequest, row: WorkItem) -> HttpResponse:
    """The page of the order anew: to a place on itself a browser would only scroll."""
    if wants_fragment(request):
        return HttpResponseClientRefresh()
    return redirect(_address(row))


def _form_page(request: SignedInRequest, form: Any, row: WorkItem, title: str) -> HttpResponse:
    context = {
        "title": title,
        "back": _address(row),
        "within": _("Work order"),
        "place": f"{row.item.name}: {remedy_name(row.item.remedy.name)}",
        "is_kept": True,
    }
    return entry_form(request, form, context)
