"""What a client reads and corrects: contact details, how to prepare, what the words mean."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from consult.access import SignedInRequest, role_required, somebody_required
from consult.forms.people import OwnContactForm
from consult.models import Client
from consult.services import people


@require_http_methods(["GET", "HEAD", "POST"])
@role_required("client")
def own_contact(request: SignedInRequest) -> HttpResponse:
    """A client corrects how the practice reaches them."""
    client = get_object_or_404(Client.objects.visible_to(request.user))
    form = OwnContactForm(request.POST or None, instance=client)
    if request.method == "POST" and form.is_valid():
        typed = {name: form.cleaned_data[name] for name in people.OWN_CONTACT}
        try:
            people.correct_own_contact(client=client, seen=form.seen, **typed)
        except ValidationError as error:
            form.add_error(None, error)
        else:
            messages.success(request, _("Thank you, we reach you there from now on."))
            return redirect("own_contact")
    context = {"form": form, "client": client}
    status = 422 if form.errors else 200
    return render(request, "consult/client_side_contact.html", context, status=status)


@require_safe
@somebody_required
def prepare(request: SignedInRequest) -> HttpResponse:
    """How to prepare for a visit."""
    return render(request, "consult/client_side_prepare.html")


@require_safe
@somebody_required
def glossary(request: SignedInRequest) -> HttpResponse:
    """What the words in letters mean."""
    return render(request, "consult/client_side_glossary.html")
