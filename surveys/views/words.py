"""The assessor's own words about a visit, as its letter will print them."""

from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils import timezone, translation
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from consult.access import SignedInRequest, role_required
from consult.htmx import back_to, entry_form
from consult.services.changes import version_of
from surveys.forms.words import WordsForm
from surveys.models import AssessorWords, Visit
from surveys.services.words import places_of, remarks_of, write_words


@require_http_methods(["GET", "HEAD", "POST"])
@role_required("office", "assessor")
def visit_words(request: SignedInRequest, pk: int) -> HttpResponse:
    visits = Visit.objects.visible_to(request.user).select_related("property__client")
    visit = get_object_or_404(visits, pk=pk)
    words = AssessorWords.objects.filter(visit=visit).first()
    version = version_of(words) if words else 0
    initial = WordsForm.initial_of(words, remarks_of([visit]), version)
    form = WordsForm(request.POST or None, initial=initial, spots=places_of(visit))
    if form.is_valid():
        typed = form.cleaned_data
        try:
            write_words(
                visit=visit,
                by=request.user,
                now=timezone.now(),
                summary=typed["summary"],
                recommendations=typed["recommendations"],
                remarks=form.remarks(),
                version=typed["version"],
            )
        except ValidationError as error:
            form.blame(error)
        else:
            return back_to(request, reverse("visit_detail", args=[visit.pk]) + "#words")
    language = translation.get_language_info(visit.property.client.language)["name_translated"]
    context = {
        "title": _("Words for the letter"),
        "within": visit.label,
        "place": visit.property,
        "back": reverse("visit_detail", args=[visit.pk]),
        "about": _(
            "Write in %(language)s, the client's language. None of it is needed; what is kept can "
            "be changed until a letter is issued."
        )
        % {"language": language},
    }
    return entry_form(request, form, context)
