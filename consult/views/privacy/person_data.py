"""What is held of a client or of somebody who logs in: a copy for them, and their erasure."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied, ValidationError
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from consult.access import SignedInRequest, manager_required, role_required
from consult.forms.once import OnceForm, key_of
from consult.forms.privacy import ErasureForm
from consult.intake.contents import ZIP
from consult.models import Client, DataPackage, DataRequest, Erasure, User
from consult.pages.downloads import download
from consult.services.privacy import erasures, packages, requests

PER_PAGE = 100


def _person(request: HttpRequest, whose: str, pk: int) -> Client | User:
    """Clients are everybody's of the office; log-ins are for who runs the practice."""
    if whose == "client":
        return get_object_or_404(Client.objects.visible_to(request.user), pk=pk)
    if not getattr(request.user, "is_manager", False):
        raise PermissionDenied
    return get_object_or_404(User, pk=pk)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required("office")
def person_data(request: SignedInRequest, whose: str, pk: int) -> HttpResponse:
    """Have a copy made, fetch it; while one is made the page asks for its state anew."""
    person = _person(request, whose, pk)
    if request.method == "POST":
        packages.ask_package(
            person=person, by=request.user, now=timezone.now(), key=key_of(request)
        )
        return redirect("person_data", whose=whose, pk=pk)
    copies = list(DataPackage.objects.visible_to(request.user).filter(**{_column(whose): person}))
    context: dict[str, Any] = {
        "person": person,
        "whose": whose,
        "once": OnceForm(auto_id=False),
        "copies": copies,
        "being_made": any(copy.state == DataPackage.State.QUEUED for copy in copies),
    }
    if whose == "client":
        context["wishes"] = DataRequest.objects.visible_to(request.user).filter(client=pk)
    part = request.headers.get("HX-Request") == "true"
    name = "consult/person_data.html" + ("#copies" if part else "")
    response = render(request, name, context)
    response["Vary"] = "HX-Request"
    return response


def _column(whose: str) -> str:
    return "client" if whose == "client" else "user"


@require_safe
@role_required("office")
def data_package(request: SignedInRequest, token: str) -> HttpResponseBase:
    """The copy as a file to keep."""
    package = get_object_or_404(DataPackage.objects.visible_to(request.user), token=token)
    try:
        file = packages.open_package(package=package, now=timezone.now())
    except ValidationError as error:
        raise Http404 from error
    name = _("data-%(number)s.zip") % {"number": package.client_id or package.user_id}
    return download(file, ZIP, name)


@require_http_methods(["GET", "HEAD", "POST"])
@manager_required
def person_erase(request: SignedInRequest, whose: str, pk: int) -> HttpResponse:
    """What would go, what would stay and why; then, with the name typed out, it is done."""
    person = _person(request, whose, pk)
    now = timezone.now()
    plan = erasures.plan_erasure(person=person, now=now)
    form = ErasureForm(request.POST or None, expected=person.name, needs_reason=plan.needs_reason)
    if request.method == "POST" and form.is_valid():
        try:
            erasures.erase_person(
                person=person, by=request.user, now=now, reason=form.cleaned_data.get("reason", "")
            )
        except ValidationError as error:
            form.add_error(None, error)
        else:
            messages.success(request, _("Erased. The files follow within moments; see below."))
            return redirect("erasure_list")
    context = {"person": person, "whose": whose, "plan": plan, "form": form}
    status = 422 if form.errors else 200
    return render(request, "consult/person_erase.html", context, status=status)


@require_safe
@manager_required
def erasure_list(request: SignedInRequest) -> HttpResponse:
    """The proofs: who erased, when, whom by number, and whether the files are gone."""
    erasures = Erasure.objects.visible_to(request.user).for_list()
    page = Paginator(erasures, PER_PAGE).get_page(request.GET.get("page"))
    return render(request, "consult/erasure_list.html", {"page": page})


@require_POST
@role_required("office")
def data_request_answer(request: SignedInRequest, pk: int) -> HttpResponse:
    """Take a wish off the desk."""
    wish = get_object_or_404(DataRequest.objects.visible_to(request.user), pk=pk)
    requests.answer_request(wish=wish, by=request.user, now=timezone.now())
    messages.success(request, _("Noted as answered."))
    return redirect("person_data", whose="client", pk=wish.client_id)
