"""A client's own page about their data: what is held, how long, and how to ask."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from consult.access import SignedInRequest, role_required
from consult.forms.privacy import DataRequestForm
from consult.models import Client, DataRequest, Retention, current_practice
from consult.services.privacy.requests import ask_for_data


@require_http_methods(["GET", "HEAD", "POST"])
@role_required("client")
def own_data(request: SignedInRequest) -> HttpResponse:
    """Ask for a copy or for erasure; the office sees it on the desk."""
    client = get_object_or_404(Client.objects.visible_to(request.user))
    form = DataRequestForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        ask_for_data(client=client, kind=form.cleaned_data["kind"], now=timezone.now())
        messages.success(request, _("Thank you. The office has your wish and will answer you."))
        return redirect("own_data")
    wishes = list(DataRequest.objects.visible_to(request.user)[:10])
    context = {
        "client": client,
        "form": form,
        "wishes": wishes,
        "open_kinds": [wish.kind for wish in wishes if wish.done_at is None],
        "retention": Retention.current(),
        "practice": current_practice(),
    }
    status = 422 if form.errors else 200
    return render(request, "consult/own_data.html", context, status=status)
