"""Who may see and do what: the role-scoped queryset, the guards of views."""

from collections.abc import Callable
from functools import wraps
from typing import Any, Concatenate, ParamSpec, Self, TypeVar

from django.contrib.auth.decorators import login_required
from django.contrib.auth.models import AnonymousUser
from django.core.exceptions import PermissionDenied
from django.db import models
from django.http import HttpRequest, HttpResponse

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
