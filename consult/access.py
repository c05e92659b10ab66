"""Who may see, do and send what: the role-scoped queryset, the guards of views."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import TYPE_CHECKING, Concatenate, ParamSpec, Self, TypeVar

from django.contrib.auth.decorators import login_required
from django.contrib.auth.models import AnonymousUser
from django.core.exceptions import PermissionDenied
from django.db import models
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.urls import Resolver404, resolve

P = ParamSpec("P")
if TYPE_CHECKING:  # the models stand above; only their names are used here
    from consult.models.people import User

ViewT = TypeVar("ViewT", bound=Callable[..., HttpResponseBase])
# The largest body of a request by somebody who is not logged in, and to a page without files.
MOST_BYTES_OF_NOBODY = 64_000
MOST_BYTES_OF_A_PAGE = 3_000_000
M_co = TypeVar("M_co", bound=models.Model, covariant=True)


class RoleScopedQuerySet(models.QuerySet[M_co]):
    """A queryset with `visible_to`: each role sees what its own method below lets through.

    A role whose method a model leaves alone sees nothing, so a forgotten rule hides rows
    instead of showing them.
    """

    def visible_to(self, user: User | AnonymousUser) -> Self:
        """Rows that `user` may see."""
        if isinstance(user, AnonymousUser) or not user.is_active:
            return self.none()
        scopes: dict[str, Callable[[User], Self]] = {
            "office": self.seen_by_office,
            "assessor": self.seen_by_assessor,
            "electrician": self.seen_by_electrician,
            "client": self.seen_by_client,
        }
        scope = scopes.get(user.role)
        return scope(user) if scope else self.none()

    def seen_by_office(self, user: User) -> Self:
        """The office steers every case of the practice."""
        return self.all()

    def seen_by_assessor(self, user: User) -> Self:
        return self.none()

    def seen_by_electrician(self, user: User) -> Self:
        return self.none()

    def seen_by_client(self, user: User) -> Self:
        return self.none()


def takes_files(most_bytes: int, *, from_anybody: bool = False) -> Callable[[ViewT], ViewT]:
    """Let a page take a body of `most_bytes` from somebody who is logged in, or from anybody."""

    def decorate(view: ViewT) -> ViewT:
        # decorators above copy both
        view.most_bytes = most_bytes  # type: ignore[attr-defined]  # a function takes any
        view.takes_from_anybody = from_anybody  # type: ignore[attr-defined]  # as above
        return view

    return decorate


def most_body_bytes(path: str, *, is_logged_in: bool) -> int:
    """The largest body that the page of an address takes."""
    try:
        view = resolve(path).func
    except Resolver404:
        return MOST_BYTES_OF_NOBODY
    if not is_logged_in and not getattr(view, "takes_from_anybody", False):
        return MOST_BYTES_OF_NOBODY
    return int(getattr(view, "most_bytes", MOST_BYTES_OF_A_PAGE))


class SignedInRequest(HttpRequest):
    """What a view gets behind one of the guards below: somebody is logged in."""

    user: User


Guarded = Callable[Concatenate[SignedInRequest, P], HttpResponseBase]
View = Callable[Concatenate[HttpRequest, P], HttpResponseBase]


def role_required(*roles: str) -> Callable[[Guarded[P]], View[P]]:
    """Let only people of `roles` through: the log-in page for nobody, 403 for another role."""
    return _guard(lambda user: user.role in roles)


def manager_required(view: Guarded[P]) -> View[P]:
    """Let only people through who run the practice."""
    guard: Callable[[Guarded[P]], View[P]] = _guard(lambda user: user.is_manager)
    return guard(view)


def somebody_required(view: Guarded[P]) -> View[P]:
    """Let everybody through who is logged in."""
    guard: Callable[[Guarded[P]], View[P]] = _guard(lambda user: True)
    return guard(view)


def _guard(may_pass: Callable[[User], bool]) -> Callable[[Guarded[P]], View[P]]:
    def decorate(view: Guarded[P]) -> View[P]:
        @wraps(view)
        def guarded(
            request: SignedInRequest, *args: P.args, **kwargs: P.kwargs
        ) -> HttpResponseBase:
            if not may_pass(request.user):
                raise PermissionDenied
            return view(request, *args, **kwargs)

        return login_required(guarded)  # type: ignore[return-value]  # the wrapper keeps P

    return decorate
