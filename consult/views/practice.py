"""The practice itself and the contractor firms it works with."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from consult.access import SignedInRequest, manager_required
from consult.forms.people import FirmForm, PracticeForm
from consult.intake.pictures import as_data_url
from consult.models import Firm, current_practice
from consult.pages.people import all_firms
from consult.services import people


@require_http_methods(["GET", "HEAD", "POST"])
@manager_required
def practice(request: SignedInRequest) -> HttpResponse:
    """Name, address, logo and signatory, as they stand on letters from now on."""
    row = current_practice()
    form = PracticeForm(request.POST or None, request.FILES or None, instance=row)
    if request.method == "POST" and form.is_valid():
        given = form.cleaned_data
        try:
            people.save_practice(
                practice=form.instance,
                logo=given["logo"],
                remove_logo=given.get("remove_logo", False),
                seen=form.seen,
            )
        except ValidationError as error:
            form.add_error(None, error)
        else:
            messages.success(request, _("The next letter carries these."))
            return redirect("practice")
    status = 422 if form.errors else 200
    context = {"form": form, "logo": as_data_url(bytes(row.logo)) if row.logo else ""}
    return render(request, "consult/practice.html", context, status=status)


@require_safe
@manager_required
def firm_list(request: SignedInRequest) -> HttpResponse:
    context = {"firms": all_firms(), "today": timezone.localdate()}
    return render(request, "consult/firm_list.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@manager_required
def firm_add(request: SignedInRequest) -> HttpResponse:
    return _firm(request, Firm())


@require_http_methods(["GET", "HEAD", "POST"])
@manager_required
def firm_edit(request: SignedInRequest, pk: int) -> HttpResponse:
    return _firm(request, get_object_or_404(Firm, pk=pk))


def _firm(request: SignedInRequest, firm: Firm) -> HttpResponse:
    form = FirmForm(request.POST or None, instance=firm)
    if request.method == "POST" and form.is_valid():
        key = form.cleaned_data.get("key")
        try:
            people.save_firm(firm=form.instance, by=request.user, key=key, seen=form.seen)
        except ValidationError as error:
            form.add_error(None, error)
        else:
            messages.success(request, _("%(name)s is saved.") % {"name": form.instance.name})
            return redirect("firm_list")
    status = 422 if form.errors else 200
    return render(request, "consult/firm_form.html", {"form": form, "firm": firm}, status=status)
