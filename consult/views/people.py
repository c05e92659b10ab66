"""People: one's own log-in, the people of the practice, invitations, the access log."""

from typing import Any

from allauth.account.internal.flows.reauthentication import did_recently_reauthenticate
from allauth.core.exceptions import ReauthenticationRequired
from allauth.mfa.models import Authenticator
from django.conf import settings
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import activate
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from consult.access import SignedInRequest, manager_required, somebody_required
from consult.forms.once import OnceForm, key_of
from consult.forms.people import LanguageForm, NewPasswordForm, PersonForm
from consult.models import AccessEvent, User
from consult.pages.people import wanted_events, wanted_people
from consult.services import people

PER_PAGE = 50


@require_safe
@somebody_required
def own_account(request: SignedInRequest) -> HttpResponse:
    """One's own log-in: language, password, second factor, sessions."""
    form = LanguageForm(initial={"language": request.user.language})
    return render(request, "consult/people_own.html", {"form": form})


@require_POST
@somebody_required
def own_language(request: SignedInRequest) -> HttpResponse:
    form = LanguageForm(request.POST)
    if not form.is_valid():
        return render(request, "consult/people_own.html", {"form": form}, status=422)
    people.set_own_language(user=request.user, language=form.cleaned_data["language"])
    activate(form.cleaned_data["language"])
    messages.success(request, _("Pages are in this language from now on."))
    return redirect("own_account")


@require_safe
@somebody_required
def closed(request: SignedInRequest) -> HttpResponse:
    """The log-in library lets people change their e-mail; here the office does it."""
    return redirect("own_account")


def refused(request: HttpRequest, exception: Exception) -> HttpResponse:
    """A page that somebody's role does not include, noted in the access log."""
    if isinstance(request.user, User):
        people.record_event(
            kind=AccessEvent.Kind.PAGE_REFUSED,
            now=timezone.now(),
            by=request.user,
            what=f"{request.method} {request.path}",
        )
    return render(request, "403.html", status=403)


@require_safe
@manager_required
def person_list(request: SignedInRequest) -> HttpResponse:
    page = Paginator(wanted_people(request), PER_PAGE).get_page(request.GET.get("page"))
    context = {"page": page, "query": request.GET.get("q", "").strip()}
    return render(request, "consult/people_list.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@manager_required
def person_invite(request: SignedInRequest) -> HttpResponse:
    form = PersonForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            user = people.invite_person(
                by=request.user,
                site=settings.SITE_URL,
                now=timezone.now(),
                key=form.cleaned_data["key"],
                **_said(form),
            )
        except ValidationError as error:
            form.add_error(None, error)
        else:
            messages.success(request, _("%(name)s is invited.") % {"name": user.name})
            return redirect("person_list")
    status = 422 if form.errors else 200
    return render(request, "consult/people_invite.html", {"form": form}, status=status)


@require_http_methods(["GET", "HEAD", "POST"])
@manager_required
def person_detail(request: SignedInRequest, pk: int) -> HttpResponse:
    """One person: what the practice says about them, and what happened at the door."""
    person = get_object_or_404(User.objects.select_related("firm"), pk=pk)
    form = PersonForm(request.POST or None, instance=person)
    if request.method == "POST" and form.is_valid():
        if form.cleaned_data["email"] != person.email and not did_recently_reauthenticate(request):
            raise ReauthenticationRequired  # the library asks, and then sends the form again
        try:
            people.change_person(
                user=person, by=request.user, now=timezone.now(), seen=form.seen, **_said(form)
            )
        except ValidationError as error:
            form.add_error(None, error)
        else:
            messages.success(request, _("%(name)s is changed.") % {"name": person.name})
            return redirect("person_detail", pk=pk)
    context = {
        "once": OnceForm(auto_id=False),
        "has_second_factor": Authenticator.objects.filter(user=pk).exists(),
        "person": User.objects.select_related("firm").get(pk=pk),
        "form": form,
        "events": AccessEvent.objects.visible_to(request.user).for_list().about_person(pk)[:20],
    }
    status = 422 if form.errors else 200
    return render(request, "consult/people_detail.html", context, status=status)


@require_POST
@manager_required
def person_act(request: SignedInRequest, pk: int, act: str) -> HttpResponse:
    """Send the invitation again, keep somebody out, let them in again, or without their phone."""
    person, by, now = get_object_or_404(User, pk=pk), request.user, timezone.now()
    try:
        if act == "invite":
            people.send_invitation(
                user=person, by=by, site=settings.SITE_URL, now=now, key=key_of(request)
            )
            messages.success(request, _("The invitation is on its way."))
        elif act == "deactivate":
            people.deactivate_person(user=person, by=by, now=now)
            messages.success(request, _("%(name)s is logged out everywhere and kept out.")
                             % {"name": person.name})  # fmt: skip
        elif act == "drop-second-factor":
            people.drop_second_factor(user=person, by=by, now=now)
            messages.success(
                request, _("%(name)s logs in with the password alone.") % {"name": person.name}
            )
        else:
            people.reactivate_person(user=person, by=by, now=now)
            messages.success(request, _("%(name)s may log in again.") % {"name": person.name})
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    return redirect("person_detail", pk=pk)


@require_safe
@manager_required
def access_log(request: SignedInRequest) -> HttpResponse:
    page = Paginator(wanted_events(request), PER_PAGE).get_page(request.GET.get("page"))
    kind = request.GET.get("kind", "")
    context = {"page": page, "kind": kind, "kinds": AccessEvent.Kind.choices}
    return render(request, "consult/people_log.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@never_cache
def invitation(request: HttpRequest, token: str) -> HttpResponse:
    """An invited person chooses a password. Opening the link changes nothing."""
    person = people.invited_person(token)
    if person is None:
        return render(request, "consult/people_invitation.html", {"person": None}, status=410)
    activate(person.language)
    form = NewPasswordForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            people.accept_invitation(
                token=token, password=form.cleaned_data["password"], now=timezone.now()
            )
        except ValidationError as error:
            form.add_error("password", error)
        else:
            messages.success(request, _("Your password is set. Log in with it."))
            return redirect("account_login")
    context = {"person": person, "form": form}
    status = 422 if form.errors else 200
    return render(request, "consult/people_invitation.html", context, status=status)


def _said(form: PersonForm) -> dict[str, Any]:
    return {name: form.cleaned_data[name] for name in people.EDITABLE}
