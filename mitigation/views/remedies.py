"""The catalogue of remedies: read by the office and assessors, changed by who runs the practice."""

from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from consult.access import SignedInRequest, manager_required, role_required
from consult.htmx import back_to, entry_form
from consult.models import current_practice
from consult.pages.downloads import spreadsheet
from consult.services.changes import version_of
from consult.services.histories import Names, latest_first
from consult.services.spreadsheets import Sheet
from mitigation.forms.remedies import PriceForm, RemedyChangeForm, RemedyForm, initial_of
from mitigation.letters.remedy_words import remedy_name
from mitigation.models import Remedy
from mitigation.pages.remedies import catalogue, catalogue_columns
from mitigation.services import remedies as services
from mitigation.services.histories import remedy_changes

FORM_METHODS = ["GET", "HEAD", "POST"]


@require_safe
@role_required("office", "assessor")
def remedy_list(request: SignedInRequest) -> HttpResponse:
    """Every kind with what is assumed of it, and who changed what."""
    context = {"kinds": catalogue(), "changes": latest_first(remedy_changes(Names()))}
    return render(request, "mitigation/remedy_list.html", context)


@require_safe
@role_required("office", "assessor")
def remedy_list_export(request: SignedInRequest) -> HttpResponse:
    columns = catalogue_columns(current_practice())
    return spreadsheet(_("remedies"), Sheet(_("Remedies"), columns, catalogue()))


@require_http_methods(FORM_METHODS)
@manager_required
def remedy_add(request: SignedInRequest) -> HttpResponse:
    form = RemedyForm(request.POST or None, initial={"works_percent": 100.0, "is_electric": True})
    if form.is_valid():
        try:
            services.add_remedy(by=request.user, **form.given())
        except ValidationError as error:
            form.blame(as_on_the_form(error))
        else:
            return back_to(request, reverse("remedy_list"))
    return _form_page(request, form, _("Add a kind of remedy"))


@require_http_methods(FORM_METHODS)
@manager_required
def remedy_edit(request: SignedInRequest, pk: int) -> HttpResponse:
    """All of a kind that no item has; price and offer of one that items have."""
    remedy = get_object_or_404(Remedy, pk=pk)
    kind = PriceForm if services.is_in_use(remedy) else RemedyChangeForm
    initial = initial_of(remedy) | {"version": version_of(remedy)}
    form = kind(request.POST or None, initial=initial)
    if form.is_valid():
        given = form.given() if isinstance(form, RemedyChangeForm) else form.cleaned_data
        try:
            services.change_remedy(remedy=remedy, by=request.user, **given)
        except ValidationError as error:
            form.blame(error)
        else:
            return back_to(request, reverse("remedy_list"))
    return _form_page(request, form, remedy_name(remedy.name))


@require_http_methods(FORM_METHODS)
@manager_required
def remedy_follow(request: SignedInRequest, pk: int) -> HttpResponse:
    """Another kind in the place of one, beginning with all that this one says."""
    remedy = get_object_or_404(Remedy, pk=pk)
    initial = initial_of(remedy) | {"code": services.next_code(remedy)}
    form = RemedyForm(request.POST or None, initial=initial)
    if form.is_valid():
        try:
            services.follow_remedy(remedy=remedy, by=request.user, **form.given())
        except ValidationError as error:
            form.blame(as_on_the_form(error))
        else:
            return back_to(request, reverse("remedy_list"))
    words = _("Follow “%(name)s” by another kind") % {"name": remedy_name(remedy.name)}
    return _form_page(request, form, words)


def as_on_the_form(error: ValidationError) -> ValidationError:
    """The key of a kind is the form's code: its own key is that of the entry."""
    if not hasattr(error, "error_dict"):
        return error
    names = {"key": "code"}
    return ValidationError(
        {names.get(name, name): words for name, words in error.message_dict.items()}
    )


def _form_page(
    request: SignedInRequest, form: RemedyForm | PriceForm, title: str
) -> HttpResponse:  # fmt: skip
    back = reverse("remedy_list")
    return entry_form(request, form, {"title": title, "within": _("Remedies"), "back": back})
