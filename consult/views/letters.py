"""Letters: the list, one with its state, its file, how it reaches the client."""

from typing import Any

from django.conf import settings
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import activate
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from consult.access import SignedInRequest, role_required, somebody_required
from consult.forms.once import OnceForm, key_of
from consult.intake.contents import PDF
from consult.letter_kinds import letter_kind
from consult.models import Letter
from consult.pages.letters import wanted_letters
from consult.services import sending
from consult.services.letters import (
    LetterFileError,
    letter_progress,
    open_letter,
    retry_letter,
)

PER_PAGE = 50


@require_safe
@role_required("office", "assessor", "client")
def letter_list(request: SignedInRequest) -> HttpResponse:
    page = Paginator(wanted_letters(request), PER_PAGE).get_page(request.GET.get("page"))
    state = request.GET.get("state", "")
    context = {"page": page, "state": state, "states": Letter.State.choices}
    return render(request, "consult/letter_list.html", context)


@require_safe
@role_required("office", "assessor", "client")
def letter_detail(request: SignedInRequest, number: str) -> HttpResponse:
    """A letter with its state, which the page asks for anew while the letter is being made."""
    letters = Letter.objects.visible_to(request.user).for_list()
    whom = ("issued_by", "posted_by", "erased_by")
    letter = get_object_or_404(letters.select_related(*whom), number=number)
    corrections = Letter.objects.visible_to(request.user).filter(corrects=letter)
    context: dict[str, Any] = {
        "letter": letter,
        "once": OnceForm(auto_id=False),
        "being_made": letter.state in (Letter.State.QUEUED, Letter.State.RENDERING),
        "progress": letter_progress(letter),
        "corrections": corrections,
    }
    part = request.headers.get("HX-Request") == "true"
    if not part:
        now = timezone.now()
        corrected = corrections.exists()
        context["mails"] = [
            (mail, None if corrected else sending.link_ends(mail=mail, letter=letter, now=now))
            for mail in sending.mails_of(letter)
        ]
    name = "consult/letter_detail.html" + ("#state" if part else "")
    response = render(request, name, context)
    response["Vary"] = "HX-Request"
    return response


@require_safe
@somebody_required
def letter_file(request: SignedInRequest, number: str) -> HttpResponseBase:
    """The PDF, to those who may see the letter."""
    letter = get_object_or_404(Letter.objects.visible_to(request.user), number=number)
    return _pdf(letter)


@require_POST
@role_required("office")
def letter_retry(request: SignedInRequest, number: str) -> HttpResponse:
    """Another try for a letter that failed."""
    letter = get_object_or_404(Letter.objects.visible_to(request.user), number=number)
    if retry_letter(letter=letter, by=request.user, now=timezone.now()):
        messages.info(request, _("Letter %(number)s is being made again.") % {"number": number})
    return redirect("letter_detail", number=number)


@require_POST
@role_required("office")
def letter_send(request: SignedInRequest, number: str, way: str) -> HttpResponse:
    """E-mail the client a link, or note that the letter was posted."""
    letters = Letter.objects.visible_to(request.user).for_list()
    letter = get_object_or_404(letters, number=number)
    by, now = request.user, timezone.now()
    try:
        if way == "email":
            key, site = key_of(request), settings.SITE_URL
            mail = sending.email_letter(letter=letter, by=by, site=site, now=now, key=key)
            messages.success(request, _("A link is on its way to %(to)s.") % {"to": mail.to})
        else:
            sending.mark_posted(letter=letter, by=by, now=now)
            messages.success(request, _("Letter %(number)s is posted.") % {"number": number})
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    return redirect("letter_detail", number=number)


@require_POST
@role_required("office")
def letter_withdraw(request: SignedInRequest, number: str, pk: int) -> HttpResponse:
    """Have one e-mailed link open nothing any more."""
    letter = get_object_or_404(Letter.objects.visible_to(request.user), number=number)
    mail = get_object_or_404(letter.mails, pk=pk)
    sending.withdraw_link(mail=mail, now=timezone.now())
    messages.success(request, _("The link to %(to)s opens nothing any more.") % {"to": mail.to})
    return redirect("letter_detail", number=number)


@require_safe
@never_cache
def letter_link(request: HttpRequest, token: str) -> HttpResponse:
    """What an e-mailed link opens: one letter, to read and nothing else."""
    letter = sending.letter_of_token(token)
    if letter is None:
        return render(request, "consult/letter_link.html", {"letter": None}, status=410)
    activate(letter.language)
    kind = letter_kind(letter.kind)
    context = {"letter": letter, "token": token, "answered_at": kind.answered_at if kind else ""}
    return render(request, "consult/letter_link.html", context)


@require_safe
@never_cache
def letter_link_file(request: HttpRequest, token: str) -> HttpResponseBase:
    letter = sending.letter_of_token(token)
    if letter is None:
        return render(request, "consult/letter_link.html", {"letter": None}, status=410)
    return _pdf(letter)


def _pdf(letter: Letter) -> FileResponse:
    try:
        file = open_letter(letter)
    except LetterFileError as error:
        if letter.state == Letter.State.READY:  # a file that is gone or altered is no page's fault
            raise
        raise Http404 from error
    return FileResponse(file, content_type=PDF, filename=f"{letter.number}.pdf")
