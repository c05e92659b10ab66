"""The firm's answer to an order: taken on or refused, with a log-in or by the mailed link."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import activate
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from consult.access import SignedInRequest, role_required
from consult.models import User
from mitigation.forms.orders import TAKE, OrderAnswerForm
from mitigation.models import WorkOrder
from mitigation.pages.orders import PAGE, order_for, order_page
from mitigation.services.work_orders import order_of_token, refuse_order, take_order


@require_POST
@role_required("electrician")
def order_answer(request: SignedInRequest, pk: int) -> HttpResponse:
    order = order_for(request.user, pk)
    form = OrderAnswerForm(request.POST)
    if _is_answered(request, form, order, by=request.user):
        return redirect("work_order", pk=pk)
    return order_page(request, order, request.user, answer_form=form, status=422)


@require_safe
@never_cache
def order_link(request: HttpRequest, token: str) -> HttpResponse:
    """What an e-mailed link opens: one order, to read and to answer. It notes nothing."""
    order = order_of_token(token)
    if order is None:
        return _over(request)
    activate(order.firm.language)
    return order_page(request, order, None, token=token)


@require_POST
@never_cache
def order_link_answer(request: HttpRequest, token: str) -> HttpResponse:
    order = order_of_token(token)
    if order is None:
        return _over(request)
    activate(order.firm.language)
    form = OrderAnswerForm(request.POST)
    if not _is_answered(request, form, order, by=None):
        return order_page(request, order, None, token=token, answer_form=form, status=422)
    if order_of_token(token) is None:  # a refused order shows nothing any more
        return render(request, PAGE, {"order": None, "is_refused": True})
    return redirect("order_link", token=token)


def _is_answered(
    request: HttpRequest, form: OrderAnswerForm, order: WorkOrder, *, by: User | None
) -> bool:
    """Whether the answer was kept; if not, the form says why."""
    if not form.is_valid():
        return False
    typed, now = form.cleaned_data, timezone.now()
    try:
        if typed["act"] == TAKE:
            take_order(order=order, name=typed["name"], by=by, now=now)
            messages.success(request, _("Thank you. The practice sees that you take it on."))
        else:
            refuse_order(order=order, name=typed["name"], reason=typed["reason"], by=by, now=now)
            messages.success(request, _("The order is refused. The practice sees why."))
    except ValidationError as error:
        form.add_error(None, error)
        return False
    return True


def _over(request: HttpRequest) -> HttpResponse:
    return render(request, PAGE, {"order": None}, status=410)
