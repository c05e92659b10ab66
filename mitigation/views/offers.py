"""An offered plan: made by the office, answered by the client with or without a log-in."""

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import activate
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from consult.access import SignedInRequest, role_required
from consult.models import User
from mitigation.forms.offers import DecisionForm, OfferForm, QuestionForm
from mitigation.models import Case, Decision, Plan, PlanItem
from mitigation.pages.offers import offer_context, plan_of_token
from mitigation.planning.items import OPEN
from mitigation.services.decisions import ask_about_plan, decide
from mitigation.services.offers import items_state, offer_plan

PAGE = "mitigation/plan_offer.html"
TYPED = ("words", "may_be_parted", "send", "seen")


@require_http_methods(["GET", "HEAD", "POST"])
@role_required("office")
def plan_make_offer(request: SignedInRequest, reference: str) -> HttpResponse:
    """Which options go to the client; then the version freezes and its letter is made."""
    case = get_object_or_404(Case.objects.visible_to(request.user).for_list(), reference=reference)
    items = PlanItem.objects.filter(case=case, state__in=OPEN).whole()
    form = OfferForm(request.POST or None, items=items, initial={"seen": items_state(case)})
    if form.is_valid():
        typed = {name: form.cleaned_data[name] for name in TYPED}
        try:
            plan = offer_plan(
                case=case, by=request.user, now=timezone.now(), options=form.options(), **typed
            )
        except ValidationError as error:
            form.add_error(None, error)
        else:
            words = _("Plan %(number)s is offered. Its letter is being made.")
            messages.success(request, words % {"number": plan.number})
            return redirect("plan_offer", pk=plan.pk)
    context = {"case": case, "form": form}
    status = 422 if form.errors else 200
    return render(request, "mitigation/plan_make_offer.html", context, status=status)


@require_safe
@role_required("office", "assessor", "client")
def plan_offer(request: SignedInRequest, pk: int) -> HttpResponse:
    """A version as it was offered; its client answers it here."""
    plan = get_object_or_404(_plans(request), pk=pk)
    return _page(request, plan)


@require_POST
@role_required("office", "client")
def plan_decide(request: SignedInRequest, pk: int) -> HttpResponse:
    """The answer of the client, or the one that the office was given by phone or post."""
    plan = get_object_or_404(_plans(request), pk=pk)
    is_office = request.user.role == User.Role.OFFICE
    way = Decision.Way.OFFICE if is_office else Decision.Way.LOG_IN
    form = DecisionForm(request.POST, is_of_client=not is_office)
    if _is_decided(form, plan, way=way, by=request.user):
        thanks = _("Thank you. The answer is kept.")
        messages.success(request, _("The client's answer is kept.") if is_office else thanks)
        return redirect("plan_offer", pk=plan.pk)
    return _page(request, plan, decision_form=form, status=422)


@require_POST
@role_required("client")
def plan_ask(request: SignedInRequest, pk: int) -> HttpResponse:
    plan = get_object_or_404(_plans(request), pk=pk)
    form = QuestionForm(request.POST)
    if _is_asked(form, plan, by=request.user):
        messages.success(request, _("Thank you. We will answer your question."))
        return redirect("plan_offer", pk=plan.pk)
    return _page(request, plan, question_form=form, status=422)


def shown_by_link(
    view: Callable[[HttpRequest, Plan, str], HttpResponse],
) -> Callable[[HttpRequest, str], HttpResponse]:
    """Hand in the plan that the token of a link shows, in its client's language; else say so."""

    @wraps(view)
    def guarded(request: HttpRequest, token: str) -> HttpResponse:
        plan = plan_of_token(token)
        if plan is None:
            return render(request, PAGE, {"plan": None}, status=410)
        activate(plan.content["language"])
        return view(request, plan, token)

    return guarded


@require_safe
@never_cache
@shown_by_link
def plan_link(request: HttpRequest, plan: Plan, token: str) -> HttpResponse:
    """What an e-mailed link opens: one version, to read and to answer."""
    return _page(request, plan, token=token)


@require_POST
@never_cache
@shown_by_link
def plan_link_decide(request: HttpRequest, plan: Plan, token: str) -> HttpResponse:
    form = DecisionForm(request.POST)
    if _is_decided(form, plan, way=Decision.Way.LINK, by=None):
        messages.success(request, _("Thank you. The answer is kept."))
        return redirect("plan_link", token=token)
    return _page(request, plan, token=token, decision_form=form, status=422)


@require_POST
@never_cache
@shown_by_link
def plan_link_ask(request: HttpRequest, plan: Plan, token: str) -> HttpResponse:
    form = QuestionForm(request.POST)
    if _is_asked(form, plan, by=None):
        messages.success(request, _("Thank you. We will answer your question."))
        return redirect("plan_link", token=token)
    return _page(request, plan, token=token, question_form=form, status=422)


def _plans(request: HttpRequest) -> Any:
    rows = Plan.objects.visible_to(request.user)
    return rows.select_related("case__property__client", "decision", "letter")


def _is_decided(form: DecisionForm, plan: Plan, *, way: str, by: User | None) -> bool:
    """Whether an answer was kept; if not, the form says why."""
    if not form.is_valid():
        return False
    typed = form.cleaned_data
    try:
        decide(
            plan=plan,
            answer=typed["answer"],
            shown_sha256=typed["shown"],
            name=typed["name"],
            way=way,
            now=timezone.now(),
            by=by,
            option=typed["option"] if typed["answer"] == Decision.Answer.ACCEPTED else "",
            items=form.items(),
            words=typed["words"],
        )
    except ValidationError as error:
        form.add_error(None, error)
        return False
    return True


def _is_asked(form: QuestionForm, plan: Plan, *, by: User | None) -> bool:
    if not form.is_valid():
        return False
    typed = form.cleaned_data
    ask_about_plan(
        plan=plan, name=typed["name"], words=typed["question"], by=by, now=timezone.now()
    )
    return True


def _page(
    request: HttpRequest, plan: Plan, *, status: int = 200, token: str = "", **forms: Any
) -> HttpResponse:
    context = offer_context(plan, request.user, token=token, now=timezone.now(), **forms)
    return render(request, PAGE, context, status=status)
