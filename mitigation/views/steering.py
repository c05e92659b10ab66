"""What the office does with a case: open, edit, move, hold, hand over, plan, begin a round.

An assessor moves their own case on where the next move is theirs, and does nothing else here.
"""

from collections.abc import Callable, Mapping
from datetime import datetime

from django.contrib import messages
from django.core.exceptions import PermissionDenied, ValidationError
from django.forms import BaseForm
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from consult.access import SignedInRequest, role_required
from consult.forms.texts import refuse_wrong
from consult.htmx import back_to, entry_form
from consult.models import Property, User
from mitigation.forms.cases import (
    CallOffForm,
    CaseEditForm,
    CaseForm,
    HandOverForm,
    HoldForm,
    PlanVisitForm,
    SkipForm,
)
from mitigation.models import Case, Stage
from mitigation.models.progress import skipped
from mitigation.pages.moves import moves_of
from mitigation.services import cases as services
from mitigation.services.visits import call_off_visit, plan_case_visit
from surveys.models import Guideline, Visit
from surveys.services.assessors import active_assessors


@require_http_methods(["GET", "HEAD", "POST"])
@role_required("office")
def case_open(request: SignedInRequest, pk: int) -> HttpResponse:
    home = get_object_or_404(Property.objects.visible_to(request.user), pk=pk)
    usual = Guideline.objects.filter(code=Guideline.USUAL).first()
    form = CaseForm(request.POST or None, initial={"guideline": usual})
    if request.method == "POST" and form.is_valid():
        try:
            case = services.open_case(
                home=home,
                by=request.user,
                now=timezone.now(),
                enquiry=form.enquiry(),
                **form.judged(),
            )
        except ValidationError as error:  # somebody took the reference in this very moment
            form.add_error(None, error)
        else:
            messages.success(request, _("Case %(case)s is open.") % {"case": case.reference})
            return redirect("case_detail", reference=case.reference)
    back = reverse("client_detail", args=[home.client_id])
    return _form_page(request, form, _("Open a case"), back, str(home))


@require_http_methods(["GET", "HEAD", "POST"])
@role_required("office")
def case_edit(request: SignedInRequest, reference: str) -> HttpResponse:
    case = get_object_or_404(Case.objects.visible_to(request.user), reference=reference)
    form = CaseEditForm(request.POST or None, instance=case)
    back = reverse("case_detail", args=[reference])
    if request.method == "POST" and form.is_valid():
        values = {name: form.cleaned_data[name] for name in services.EDITABLE}
        seen = form.cleaned_data["version"] or 0
        try:
            services.edit_case(case=case, seen=seen, by=request.user, values=values)
        except ValidationError as error:
            form.add_error(None, error)
        else:
            messages.success(request, _("The change is saved."))
            return back_to(request, back)
    return _form_page(request, form, _("Change how the case is judged"), back, reference)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required("office")
def visit_plan(request: SignedInRequest, reference: str) -> HttpResponse:
    case = get_object_or_404(Case.objects.visible_to(request.user), reference=reference)
    kind = Visit.Kind.BASELINE
    if case.visits.filter(kind=Visit.Kind.BASELINE, sealed_at__isnull=False).exists():
        kind = Visit.Kind.FOLLOW_UP
    assigned = active_assessors().filter(assignments__property=case.property_id).first()
    initial = {"kind": kind, "assessor": assigned}
    form = PlanVisitForm(request.POST or None, initial=initial, case=case, by=request.user)
    back = reverse("case_detail", args=[reference])
    if request.method == "POST" and form.is_valid():
        try:
            visit = plan_case_visit(
                case=case, by=request.user, now=timezone.now(), **form.cleaned_data
            )
        except ValidationError as error:
            form.add_error(None, error)
        else:
            messages.success(request, _("Visit “%(visit)s” is planned.") % {"visit": visit.label})
            return back_to(request, back)
    return _form_page(request, form, _("Plan a visit"), back, reference)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required("office")
def visit_call_off(request: SignedInRequest, reference: str, pk: int) -> HttpResponse:
    """Ask why, then take a planned visit away; clicked twice, the second finds it gone."""
    case = get_object_or_404(Case.objects.visible_to(request.user), reference=reference)
    back = reverse("case_detail", args=[reference])
    visit = case.visits.filter(pk=pk).first()
    if visit is None:
        return back_to(request, back)
    form = CallOffForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        reason, now = form.cleaned_data["reason"], timezone.now()
        try:
            call_off_visit(case=case, visit=visit, by=request.user, now=now, reason=reason)
        except ValidationError as error:
            form.add_error(None, error)
        else:
            messages.success(
                request, _("Visit “%(visit)s” is called off.") % {"visit": visit.label}
            )
            return back_to(request, back)
    day = date_format(visit.date)
    about = f"{reference}, {visit.label}, {day}"
    return _form_page(request, form, _("Call off a visit"), back, about)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required("office")
def case_skip(request: SignedInRequest, reference: str, seen: str, to: str) -> HttpResponse:
    """Ask whether a case shall pass over stages that nothing was done for, and why."""
    case = get_object_or_404(Case.objects.visible_to(request.user), reference=reference)
    passed = skipped(seen, to) if {seen, to} <= set(Stage.values) else []
    if not passed:
        raise Http404
    back = reverse("case_detail", args=[reference])
    form = SkipForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        case.stage, reason = seen, form.cleaned_data["reason"]
        try:
            services.move_case(case=case, to=to, by=request.user, now=timezone.now(), reason=reason)
        except ValidationError as error:
            form.add_error(None, error)
        else:
            messages.success(request, _done(case))
            return back_to(request, back)
    about = _("%(case)s goes on from “%(old)s” to “%(new)s”. That skips: %(stages)s.") % {
        "case": reference,
        "old": Stage(seen).label,
        "new": Stage(to).label,
        "stages": services.words_of(passed),
    }
    return _form_page(request, form, _("Skip stages?"), back, about)


# The sentence that an act returns is shown; without one, the stage of the case.
Act = Callable[[Case, Mapping[str, str], User, datetime], object]


def _move(case: Case, typed: Mapping[str, str], by: User, now: datetime) -> object:
    return services.move_case(
        case=case, to=typed.get("to", ""), by=by, now=now, reason=typed.get("reason", "").strip()
    )


def _hand_over(case: Case, typed: Mapping[str, str], by: User, now: datetime) -> object:
    form = HandOverForm(typed)
    if not form.is_valid():
        raise ValidationError(_("Choose an assessor."))
    services.hand_over(
        case=case, to=form.cleaned_data["to"], by=by, now=now, reason=typed.get("reason", "")
    )
    return _("Handed over to %(name)s, with the visits that nobody has begun.") % {
        "name": form.cleaned_data["to"].name
    }


def _hold(case: Case, typed: Mapping[str, str], by: User, now: datetime) -> object:
    form = HoldForm(typed)
    refuse_wrong(form)
    return services.hold_case(case=case, by=by, now=now, **form.cleaned_data)


ACTS: dict[str, Act] = {
    "move": _move,
    "decline": lambda case, typed, by, now: services.decline_case(
        case=case, reason=typed.get("reason", ""), by=by, now=now
    ),
    "reopen": lambda case, typed, by, now: services.reopen_case(
        case=case, to=typed.get("to", ""), reason=typed.get("reason", ""), by=by, now=now
    ),
    "round": lambda case, typed, by, now: services.begin_round(
        case=case, reason=typed.get("reason", ""), by=by, now=now
    ),
    "hold": _hold,
    "resume": lambda case, typed, by, now: services.resume_case(case=case, by=by, now=now),
    "hand-over": _hand_over,
}


@require_POST
@role_required("office", "assessor")
def case_act(request: SignedInRequest, reference: str, act: str) -> HttpResponse:
    """One step of a case, from the stage that the person saw on the page."""
    case = get_object_or_404(Case.objects.visible_to(request.user), reference=reference)
    if act not in ACTS:
        raise Http404
    seen = request.POST.get("seen", case.stage)
    is_current = seen == case.stage
    case.stage = seen if seen in Stage.values else case.stage
    if request.user.role != User.Role.OFFICE:
        onward = moves_of(case, request.user.role).onward
        if act != "move" or request.POST.get("to") not in onward:
            raise PermissionDenied
    to = request.POST.get("to", "")
    if act == "move" and is_current and to in Stage.values and skipped(seen, to):
        return redirect("case_skip", reference, seen, to)
    try:
        answer = ACTS[act](case, request.POST, request.user, timezone.now())
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        messages.success(request, answer if isinstance(answer, str) else _done(case))
    return redirect("case_detail", reference=reference)


def _done(case: Case) -> str:
    return _("Done. The case is now: %(stage)s.") % {"stage": _state(case)}


def _state(case: Case) -> str:
    return _("on hold") if case.on_hold_reason else str(Stage(case.stage).label)


def _form_page(
    request: HttpRequest,
    form: BaseForm,
    title: str,
    back: str,
    about: str,
) -> HttpResponse:
    return entry_form(request, form, {"title": title, "back": back, "about": about})
