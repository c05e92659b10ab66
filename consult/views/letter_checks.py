"""Anybody who holds a letter learns whether it is one that was issued, and nothing else."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import csrf_exempt, csrf_protect
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST

from consult.access import takes_files
from consult.forms.letter_checks import LetterCodeForm, LetterFileForm
from consult.intake.digests import HashingHandler
from consult.letters.rendering import MOST_BYTES
from consult.services.guesses import count_letter_check
from consult.services.letter_checks import (
    IssuedLetter,
    issued_letter_of_code,
    issued_letter_of_file,
)

FORM_BYTES = 100_000  # what a form adds to its file


@require_http_methods(["GET", "HEAD", "POST"])
@never_cache
@sensitive_post_parameters("code")
def letter_check(request: HttpRequest) -> HttpResponse:
    """By number and code; a link only fills them in, and whoever reads them sends them."""
    if request.method != "POST":
        return _page(request)
    form = LetterCodeForm(request.POST)
    if not form.is_valid():
        return _page(request, form=form, status=422)
    guess = count_letter_check(request=request)
    if guess is None:
        return _page(request, form=form, way="slow", status=429)
    letter = issued_letter_of_code(**form.cleaned_data)
    if letter is not None:
        guess.take_back()
    return _page(request, form=form, way="code", letter=letter)


@csrf_exempt  # the check of the form reads its file, so it comes after the handler below
@require_POST
@takes_files(MOST_BYTES + FORM_BYTES, from_anybody=True)
def letter_check_file(request: HttpRequest) -> HttpResponse:
    """By the file itself, of which nothing is kept."""
    request.upload_handlers = [HashingHandler(request)]
    return _checked_file(request)


@never_cache
@csrf_protect
def _checked_file(request: HttpRequest) -> HttpResponse:
    form = LetterFileForm(request.POST, request.FILES)
    if not form.is_valid():
        return _page(request, file_form=form, status=422)
    guess = count_letter_check(request=request)
    if guess is None:
        return _page(request, way="slow", status=429)
    sha256 = form.cleaned_data["file"].sha256
    letter = issued_letter_of_file(sha256=sha256)
    if letter is not None:
        guess.take_back()
    return _page(request, way="file", letter=letter, sha256=sha256)


def _page(
    request: HttpRequest,
    *,
    form: LetterCodeForm | None = None,
    file_form: LetterFileForm | None = None,
    way: str = "",
    letter: IssuedLetter | None = None,
    sha256: str = "",
    status: int = 200,
) -> HttpResponse:
    context = {
        "form": form or LetterCodeForm(),
        "file_form": file_form or LetterFileForm(),
        "way": way,
        "letter": letter,
        "sha256": sha256,
    }
    return render(request, "consult/letter_check.html", context, status=status)
