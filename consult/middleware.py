"""What every request passes: its language, its address, its log-in, how long its page is kept."""

import time
from collections.abc import Callable
from urllib.parse import urlencode, urlsplit, urlunsplit

from django.conf import settings
from django.contrib import messages
from django.contrib.auth import logout
from django.http import HttpRequest, HttpResponse, HttpResponseNotAllowed
from django.shortcuts import redirect, render, resolve_url
from django.urls import resolve
from django.utils import timezone, translation
from django.utils.cache import add_never_cache_headers
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _

from consult.access import most_body_bytes
from consult.models import User
from consult.services.second_factor import days_without_factor

LAST_ACT = "last_act"
NOTED_EVERY_S = 60  # a session is not written anew for each request
ASKED_BY_PAGE = "Ebbmark-Asked-By-Page"
FACTOR = "second_factor"


class OwnLanguageMiddleware:
    """Pages speak the language of who is logged in; nobody's browser decides for them."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        language = getattr(request.user, "language", "")
        if language and translation.check_for_language(language):
            translation.activate(language)
            request.LANGUAGE_CODE = translation.get_language()
        return self.get_response(request)


class ZeroByteMiddleware:
    """No address has a zero byte in it, and PostgreSQL stores none: such a request is refused."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if "\0" in request.path or "%00" in request.META.get("QUERY_STRING", ""):
            return HttpResponse(status=400)
        return self.get_response(request)


class IdleMiddleware:
    """A log-in ends after a while of nothing; what an open page asks for by itself is nothing.

    `LogInAgainMiddleware` brings them back to where they were.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if isinstance(request.user, User):
            self._look_at(request, request.user, now=int(time.time()))
        return self.get_response(request)

    def _look_at(self, request: HttpRequest, user: User, now: int) -> None:
        idle = now - request.session.get(LAST_ACT, now)
        if idle > settings.IDLE_MINUTES[user.role] * 60:
            logout(request)
            messages.info(
                request, _("You were logged out because nothing happened here for a while.")
            )
        elif not request.headers.get(ASKED_BY_PAGE) and (
            idle >= NOTED_EVERY_S or LAST_ACT not in request.session
        ):
            request.session[LAST_ACT] = now


class SecondFactorMiddleware:
    """Who needs a second factor, and let the days for it pass, reaches nothing but its set-up."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if not isinstance(request.user, User) or request.user.role != User.Role.OFFICE:
            return self.get_response(request)
        today = timezone.localdate()
        looked_at = request.session.get(FACTOR, {})
        if looked_at.get("day") != str(today):  # once a day and session is enough
            days = days_without_factor(user=request.user, today=today)
            looked_at = request.session[FACTOR] = {"day": str(today), "days": days}
        if looked_at["days"] != 0 or self._is_open(request):
            return self.get_response(request)
        messages.warning(
            request,
            _(
                "The office sees everything, so your log-in needs a second factor. Set up an "
                "authenticator app or a passkey here; then everything is open again."
            ),
        )
        if request.headers.get("HX-Request") == "true":
            return HttpResponse(status=204, headers={"HX-Redirect": resolve_url("mfa_index")})
        return redirect("mfa_index")

    def _is_open(self, request: HttpRequest) -> bool:
        name = resolve(request.path_info).url_name or ""
        return name.startswith("mfa_") or name in ("account_logout", "account_reauthenticate")


class BodyLimitMiddleware:
    """A body that is larger than its page takes is refused by its head, before any of it is read.

    Nothing is read of a body whose length is not told; a server that has read it tells its length.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        given = request.META.get("CONTENT_LENGTH") or "0"
        untold = "HTTP_TRANSFER_ENCODING" in request.META and given == "0"
        most = most_body_bytes(request.path_info, is_logged_in=request.user.is_authenticated)
        if untold or not given.isdecimal() or int(given) > most:
            return render(request, "413.html", {"most": most}, status=413)
        return self.get_response(request)


class LogInAgainMiddleware:
    """Somebody whose log-in ended comes back to the page they were on, not to what it sent.

    A part of a page sends the whole page to the log-in. What was sent is lost, and that is said.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        login_page = resolve_url(settings.LOGIN_URL)
        is_part = request.headers.get("HX-Request") == "true"
        was_sent = request.method not in ("GET", "HEAD")
        if not response.get("Location", "").startswith(f"{login_page}?next="):
            return response
        if was_sent:
            messages.warning(
                request,
                _(
                    "Your log-in had ended, so what you sent was not saved. Log in and send it "
                    "again."
                ),
            )
        if is_part or was_sent:
            response["Location"] = f"{login_page}?{urlencode({'next': _page_of(request)})}"
        if is_part:
            return HttpResponse(status=204, headers={"HX-Redirect": response["Location"]})
        return response


def _page_of(request: HttpRequest) -> str:
    """The page of this site that a request was made from; the first page where none is named."""
    named = request.headers.get("HX-Current-URL") or request.headers.get("Referer") or ""
    ours = url_has_allowed_host_and_scheme(named, {request.get_host()}, request.is_secure())
    parts = urlsplit(named if ours else "")
    path = parts.path.lstrip("/\\")  # a path of two slashes would be the name of a host
    return urlunsplit(("", "", f"/{path}", parts.query, ""))


class WrongMethodMiddleware:
    """An address that takes a form alone, opened as a page, says so instead of staying blank."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        if isinstance(response, HttpResponseNotAllowed) and request.method == "GET":
            page = render(request, "405.html", status=response.status_code)
            page["Allow"] = response["Allow"]
            return page
        return response


class PrivatePagesMiddleware:
    """Pages of a logged-in person are never kept by a cache or behind the back button."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        if request.user.is_authenticated:
            add_never_cache_headers(response)
            response["Cache-Control"] = "no-store, private"
        return response
