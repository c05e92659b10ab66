"""Letters: the list, the state of one, its file, another try."""

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from consult.access import role_required
from consult.models import Letter, User
from consult.services.letters import letter_bytes, retry_letter

PER_PAGE = 50


@require_safe
@role_required("office", "assessor", "client")
def letter_list(request: HttpRequest) -> HttpResponse:
    letters = Letter.objects.visible_to(request.user).for_list()
    page = Paginator(letters, PER_PAGE).get_page(request.GET.get("page"))
    return render(request, "consult/letter_list.html", {"page": page})


@require_safe
@login_required
def letter_file(request: HttpRequest, number: str) -> HttpResponse:
    """The PDF, to those who may see the letter."""
    letter = get_object_or_404(Letter.objects.visible_to(request.user), number=number)
    if letter.state != Letter.State.READY:
        raise Http404
    response = HttpResponse(letter_bytes(letter), content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="{letter.number}.pdf"'
    return response


@require_POST
@role_required("office")
def letter_retry(request: HttpRequest, number: str) -> HttpResponse:
    """Another try for a letter that failed."""
    letter = get_object_or_404(Letter.objects.visible_to(request.user), number=number)
    assert isinstance(request.user, User)
    if letter.state == Letter.State.FAILED:
        retry_letter(letter=letter, by=request.user, now=timezone.now())
        messages.info(request, _("Letter %(number)s is being made again.") % {"number": number})
    return redirect("letter_list")
