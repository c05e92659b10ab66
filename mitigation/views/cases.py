"""One case with its comparison; issuing its letters."""

from collections.abc import Sequence
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db.models import Count, Q
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.cache import patch_vary_headers
from django.utils.translation import gettext as _
from django.utils.translation import override
from django.views.decorators.http import require_POST, require_safe

from consult.access import SignedInRequest, role_required
from consult.htmx import wants_fragment
from consult.letter_kinds import LetterKind, letter_kind, registered
from consult.letters.words import precaution_sentences, wiring_sentences
from consult.models import Assignment, Letter, MedicalDevice, User
from mitigation.comparison import Comparison, compare, sealed_among
from mitigation.forms.cases import AttachmentForm, HoldForm
from mitigation.letters.outcome import next_steps, not_comparable
from mitigation.letters.verdict import verdict_sentences
from mitigation.models import Attachment, Case, CaseVisit, Note, Plan, Stage
from mitigation.models.progress import next_step
from mitigation.pages.cases import not_yet
from mitigation.pages.comparison import filtered
from mitigation.pages.moves import moves_of
from mitigation.pages.pictures import case_pictures
from mitigation.services.corrections import overtaken_letters
from mitigation.services.letters import Basis, issue_case_letter
from mitigation.services.progress import facts_of_page
from mitigation.services.trial_fits import is_being_sampled
from surveys.results.dangers import dangers_by_now
from surveys.services.assessors import active_assessors
from surveys.services.facts import band_names

PAGE = "mitigation/case_detail.html"
LOOKS = Q(visit__readings__corrects__isnull=True)  # a correction is no look at the meter
SURVEYS = {Stage.ENQUIRY, Stage.BASELINE, Stage.WORKS, Stage.FOLLOW_UP}
PATH = [stage for stage in Stage if stage != Stage.DECLINED]


@require_safe
@role_required("office", "assessor")
def case_detail(request: SignedInRequest, reference: str) -> HttpResponse:
    """Everything of a case on one page, or its filtered table alone."""
    cases = Case.objects.visible_to(request.user).for_list().select_related("enquiry")
    rows = cases.with_ask_first().prefetch_related("guideline__bands")
    case = get_object_or_404(rows, reference=reference)
    planned = _planned(case)
    comparison = compare(case, sealed_among(case, [row.visit for row in planned]))
    context = _table(request, comparison)
    if wants_fragment(request):
        response = render(request, f"{PAGE}#table", context)
    else:
        context |= _seen(comparison) | _whole_page(request, comparison, planned)
        response = render(request, PAGE, context | {"here": request.path})
    patch_vary_headers(response, ["HX-Request"])
    return response


@require_safe
@role_required("office", "assessor")
def case_show(request: SignedInRequest, reference: str) -> HttpResponse:
    """The comparison alone, to be shown to the client: in their language, nothing internal."""
    cases = Case.objects.visible_to(request.user).for_list().prefetch_related("guideline__bands")
    case = get_object_or_404(cases, reference=reference)
    comparison, language = compare(case), case.property.client.language
    with override(language):
        context = _table(request, comparison)
        if wants_fragment(request):
            response = render(request, f"{PAGE}#table", context)
        else:
            context |= _seen(comparison) | {"here": request.path}
            context |= {
                "verdict": verdict_sentences(
                    context["outcome"]["spots"], comparison.sleeping_places
                ),
                "please_note": [
                    *precaution_sentences()[-1:], *wiring_sentences(case.property.country)
                ],
            }  # fmt: skip
            response = render(request, "mitigation/case_show.html", context)
    response["Content-Language"] = language
    patch_vary_headers(response, ["HX-Request"])
    return response


def _table(request: HttpRequest, comparison: Comparison) -> dict[str, Any]:
    """The table of the comparison with what is asked of it."""
    case = comparison.case
    context = {"case": case, "band_names": band_names(case.guideline)}
    return filtered(comparison, request.GET) | context


def _seen(comparison: Comparison) -> dict[str, Any]:
    """What a client may see of a comparison beside its table, and what stops them."""
    outcome = comparison.as_json()
    dangers = dangers_by_now(comparison.visits, comparison.columns)
    return {
        "comparison": comparison,
        "outcome": outcome,
        "pictures": case_pictures(comparison),
        "not_comparable": not_comparable(outcome["spots"]),
        "next_steps": next_steps(outcome["spots"]) if comparison.follow_up else [],
        "dangers": [danger for danger in dangers if danger.over_on is None],
        "past_dangers": [danger for danger in dangers if danger.over_on is not None],
    }


def _planned(case: Case) -> list[CaseVisit]:
    """The visits of a case in the order of their days, with the number of their readings."""
    rows = case.case_visits.select_related("visit").order_by("visit__date", "pk")
    return list(rows.annotate(n_readings=Count("visit__readings", filter=LOOKS)))


def _whole_page(
    request: SignedInRequest, comparison: Comparison, planned: Sequence[CaseVisit]
) -> dict[str, Any]:
    case = comparison.case
    letters = Letter.objects.visible_to(request.user).for_case()
    letters_here = list(letters.filter(case_letter__case=case))
    notes = Note.objects.visible_to(request.user).filter(case=case).select_related("written_by")
    attachments = Attachment.objects.visible_to(request.user).for_list().filter(case=case)
    plans = list(Plan.objects.visible_to(request.user).for_list().filter(case=case))
    facts = facts_of_page(case, planned, letters_here, plans, now=timezone.now())
    devices = MedicalDevice.objects.visible_to(request.user).current()
    is_office = request.user.role == User.Role.OFFICE
    assignments = Assignment.objects.filter(property=case.property_id).select_related("user")
    return {
        "device": devices.filter(property=case.property_id).first() if case.must_ask else None,
        "is_being_sampled": is_being_sampled(case),
        "stages": [Stage.DECLINED] if case.stage == Stage.DECLINED else PATH,
        "moves": moves_of(case, request.user.role),
        "step": None if case.on_hold_reason else next_step(case.stage, set(facts)),
        "today": timezone.localdate(),
        "visits": planned,
        "wants_visit": case.stage in SURVEYS and all(row.visit.sealed_at for row in planned),
        "letters": letters_here,
        "plans": plans,
        "offered_letters": _offered(comparison, letters_here),
        "overtaken": overtaken_letters(case, letters_here) if comparison.has_corrections else [],
        "assessors": [assignment.user for assignment in assignments],
        "contacts": case.property.client.contacts.all(),
        "notes": notes,
        "attachments": attachments,
        "not_yet": not_yet(
            (comparison.rows, _("readings")),
            (planned, _("visits")),
            (letters_here, _("letters")),
            (notes, _("notes")),
            (attachments, _("files")),
        ),
        "hold_form": HoldForm(auto_id="hold-%s"),
        "colleagues": active_assessors().only("name") if is_office else (),
        "attachment_form": AttachmentForm(),
    }


def _offered(comparison: Comparison, letters: Sequence[Letter]) -> list[tuple[LetterKind, bool]]:
    """The kinds of letters that can be issued now; True for the one that is next."""
    basis = Basis(comparison.case, comparison.visits)
    kinds = [kind for kind in registered() if kind.is_issued_by_hand and not kind.needs(basis)]
    issued = {letter.kind for letter in letters}
    return [(kind, kind is kinds[-1] and kind.code not in issued) for kind in kinds]


@require_POST
@role_required("office")
def letter_issue(request: SignedInRequest, reference: str, kind: str) -> HttpResponse:
    cases = Case.objects.visible_to(request.user).for_list()
    case = get_object_or_404(cases, reference=reference)
    if letter_kind(kind) is None:
        raise Http404
    try:
        letter = issue_case_letter(kind=kind, case=case, by=request.user, now=timezone.now())
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        words = (
            _("Letter %(number)s says this already.")
            if letter.state == Letter.State.READY
            else _("Letter %(number)s is queued.")
        )
        messages.success(request, words % {"number": letter.number})
    return redirect("case_detail", reference=case.reference)
