"""Works: of a case, of a firm, of the whole practice; and a firm's test instruments."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from consult.access import SignedInRequest, role_required
from consult.forms.once import key_of
from consult.forms.texts import refuse_wrong
from consult.htmx import back_to, entry_form
from consult.models import User
from consult.pages.downloads import spreadsheet
from consult.services.spreadsheets import Column, Sheet
from mitigation.forms.reports import TestInstrumentForm, WorksDoneForm
from mitigation.models import Case, TestInstrument
from mitigation.pages.order_lists import WHICH, orders_of_firm, wanted_orders, with_lateness
from mitigation.pages.works import works_context
from mitigation.services.confirmations import confirm_works
from mitigation.services.work_reports import save_test_instrument

PER_PAGE = 50


@require_safe
@role_required("office", "assessor")
def case_works(request: SignedInRequest, reference: str) -> HttpResponse:
    """Orders and what was done, and what that means for the follow-up."""
    cases = Case.objects.visible_to(request.user).for_list()
    case = get_object_or_404(cases, reference=reference)
    return render(request, "mitigation/case_works.html", works_context(case, request.user))


@require_safe
@role_required("office", "assessor", "electrician")
def order_list(request: SignedInRequest) -> HttpResponse:
    """All orders; `which` asks for the unseen, late or refused ones, or what to look at.

    An electrician has today and what is open, of their own firm.
    """
    if request.user.role == User.Role.ELECTRICIAN:
        groups = orders_of_firm(request.user, timezone.now())
        return render(request, "mitigation/electrician_home.html", groups)
    page = Paginator(wanted_orders(request), PER_PAGE).get_page(request.GET.get("page"))
    context = {
        "page": page,
        "orders": with_lateness(list(page), timezone.localdate()),
        "which": WHICH,
        "asked": request.GET.get("which", ""),
    }
    return render(request, "mitigation/order_list.html", context)


@require_safe
@role_required("office", "assessor", "electrician")
def order_list_export(request: SignedInRequest) -> HttpResponse:
    columns: list[Column] = [
        (_("Case"), lambda order: order.case.reference),
        (_("Order"), lambda order: order.number),
        (_("Address of the work"), lambda order: str(order.case.property)),
        (_("Firm"), lambda order: order.firm.name),
        (_("State"), lambda order: order.get_state_display()),
        (_("Sent"), lambda order: order.sent_at),
        (_("Opened"), lambda order: order.seen_at),
        (_("Agreed"), lambda order: order.agreed_at),
        (_("To be done by"), lambda order: order.due_on),
        (_("Refused or called off because"), lambda order: order.refusal),
    ]
    return spreadsheet(_("orders"), Sheet(_("Orders"), columns, wanted_orders(request)))


@require_safe
@role_required("electrician")
def test_instruments(request: SignedInRequest) -> HttpResponse:
    rows = TestInstrument.objects.visible_to(request.user)
    context = {"instruments": rows, "today": timezone.localdate()}
    return render(request, "mitigation/test_instruments.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required("electrician")
def test_instrument_add(request: SignedInRequest) -> HttpResponse:
    return _instrument(request, TestInstrument(firm=request.user.firm))


@require_http_methods(["GET", "HEAD", "POST"])
@role_required("electrician")
def test_instrument_edit(request: SignedInRequest, pk: int) -> HttpResponse:
    rows = TestInstrument.objects.visible_to(request.user)
    return _instrument(request, get_object_or_404(rows, pk=pk))


def _instrument(request: SignedInRequest, row: TestInstrument) -> HttpResponse:
    form = TestInstrumentForm(request.POST or None, instance=row)
    back = reverse("test_instruments")
    if request.method == "POST" and form.is_valid():
        try:
            key = form.cleaned_data.get("key")
            save_test_instrument(instrument=form.instance, by=request.user, key=key, seen=form.seen)
        except ValidationError as error:
            form.add_error(None, error)
        else:
            return back_to(request, back)
    title = str(row) if row.pk else _("Enter a test instrument")
    context = {"title": title, "back": back, "within": _("Test instruments")}
    return entry_form(request, form, context)


@require_POST
@role_required("client")
def works_confirm(request: SignedInRequest, reference: str) -> HttpResponse:
    """The client says what is done of their own part, or asks something about the works."""
    case = get_object_or_404(Case.objects.visible_to(request.user), reference=reference)
    form = WorksDoneForm(request.POST)
    try:
        refuse_wrong(form)
        confirm_works(
            case=case,
            items=form.items(),
            name=form.cleaned_data["name"],
            words=form.cleaned_data["words"],
            by=request.user,
            now=timezone.now(),
            uid=key_of(request),
        )
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        messages.success(request, _("Thank you. We will be in touch about what is next."))
    return redirect("client_home")
