"""Who may see and do what: the role-scoped queryset, the guards of views, the privacy of pages."""

from collections.abc import Callable
from functools import wraps
from typing import Any, Concatenate, ParamSpec, Self, TypeVar
from urllib.parse import urlencode, urlsplit, urlunsplit

from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.contrib.auth.models import AnonymousUser
from django.core.exceptions import PermissionDenied
from django.db import models
from django.http import HttpRequest, HttpResponse, HttpResponseNotAllowed
from django.shortcuts import render, resolve_url
from django.utils import translation
from django.utils.cache import add_never_cache_headers
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _

P = ParamSpec("P")
M_co = TypeVar("M_co", bound=models.Model, covariant=True)


class RoleScopedQuerySet(models.QuerySet[M_co]):
    """A queryset with `visible_to`: each role sees what its own method below lets through.

    A role whose method a model leaves alone sees nothing, so a forgotten rule hides rows
    instead of showing them.
    """

    def visible_to(self, user: Any) -> Self:
        """Rows that `user` may see."""
        if isinstance(user, AnonymousUser) or not user.is_active:
            return self.none()
        scopes: dict[str, Callable[[Any], Self]] = {
            "office": self.seen_by_office,
            "assessor": self.seen_by_assessor,
            "electrician": self.seen_by_electrician,
            "client": self.seen_by_client,
        }
        scope = scopes.get(user.role)
        return scope(user) if scope else self.none()

    def seen_by_office(self, user: Any) -> Self:
        """The office steers every case of the practice."""
        return self.all()

    def seen_by_assessor(self, user: Any) -> Self:
        return self.none()

    def seen_by_electrician(self, user: Any) -> Self:
        return self.none()

    def seen_by_client(self, user: Any) -> Self:
        return self.none()


View = Callable[Concatenate[HttpRequest, P], HttpResponse]


def role_required(*roles: str) -> Callable[[View[P]], View[P]]:
    """Let only people of `roles` through: the log-in page for nobody, 403 for another role."""

    def decorate(view: View[P]) -> View[P]:
        @wraps(view)
        def guarded(request: HttpRequest, *args: P.args, **kwargs: P.kwargs) -> HttpResponse:
            if getattr(request.user, "role", None) not in roles:
                raise PermissionDenied
            return view(request, *args, **kwargs)

        return login_required(guarded)  # type: ignore[return-value]  # the wrapper keeps P

    return decorate


def manager_required(view: View[P]) -> View[P]:
    """Let only people through who run the practice."""

    @wraps(view)
    def guarded(request: HttpRequest, *args: P.args, **kwargs: P.kwargs) -> HttpResponse:
        if not getattr(request.user, "is_manager", False):
            raise PermissionDenied
        return view(request, *args, **kwargs)

    return login_required(guarded)  # type: ignore[return-value]  # the wrapper keeps P


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
