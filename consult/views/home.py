"""Where a person lands."""

from django.http import HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_safe

from consult.access import SignedInRequest, somebody_required
from consult.models import User

LANDING = {
    User.Role.OFFICE: "desk",
    User.Role.ASSESSOR: "desk",
    User.Role.CLIENT: "client_home",
    User.Role.ELECTRICIAN: "order_list",
}


@require_safe
@somebody_required
def home(request: SignedInRequest) -> HttpResponse:
    """Each role's first page."""
    return redirect(LANDING[User.Role(request.user.role)])
