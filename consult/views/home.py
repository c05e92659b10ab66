"""Where a person lands."""

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_safe

from consult.access import role_required
from consult.models import User

LANDING = {
    User.Role.OFFICE: "desk",
    User.Role.ASSESSOR: "desk",
    User.Role.CLIENT: "client_home",
    User.Role.ELECTRICIAN: "electrician_home",
}


@require_safe
@login_required
def home(request: HttpRequest) -> HttpResponse:
    """Each role's first page."""
    assert isinstance(request.user, User)
    return redirect(LANDING[User.Role(request.user.role)])


@require_safe
@role_required("electrician")
def electrician_home(request: HttpRequest) -> HttpResponse:
    return render(request, "consult/electrician.html")
