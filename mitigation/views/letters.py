"""A letter corrected by a new one that refers to it."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from consult.access import SignedInRequest, role_required
from consult.models import Letter
from mitigation.forms.letters import CorrectionForm
from mitigation.models import Case
from mitigation.services.letters import correct_letter


@require_safe
@role_required("office", "assessor")
def letter_case(request: SignedInRequest, number: str) -> HttpResponse:
    """From a letter to the page of its case, whatever reference the letter printed."""
    letter = get_object_or_404(Letter.objects.visible_to(request.user), number=number)
    cases = Case.objects.visible_to(request.user)
    case = get_object_or_404(cases, case_letters__letter=letter)
    return redirect("case_detail", reference=case.reference)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required("office")
def letter_correct(request: SignedInRequest, number: str) -> HttpResponse:
    """Ask what was wrong, then issue the new letter from the case as it stands now."""
    letter = get_object_or_404(Letter.objects.visible_to(request.user).for_list(), number=number)
    cases = Case.objects.visible_to(request.user).for_list()
    case = get_object_or_404(cases, case_letters__letter=letter)
    form = CorrectionForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            new = correct_letter(
                letter=letter,
                case=case,
                reason=form.cleaned_data["reason"],
                key=form.cleaned_data["key"],
                by=request.user,
                now=timezone.now(),
            )
        except ValidationError as error:
            form.add_error(None, error)
        else:
            messages.success(
                request,
                _("Letter %(new)s replaces %(old)s.") % {"new": new.number, "old": number},
            )
            return redirect("letter_detail", number=new.number)
    context = {"letter": letter, "case": case, "form": form}
    status = 422 if form.errors else 200
    return render(request, "mitigation/letter_correct.html", context, status=status)
