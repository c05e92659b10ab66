"""The desk: what is due, who has the next move, what failed, what runs out."""

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from consult.access import SignedInRequest, role_required
from consult.models import DataRequest
from mitigation.models import PendingUpload
from mitigation.pages.desk import desk_lists
from mitigation.pages.moves import steps_of
from mitigation.pages.order_lists import WHICH
from surveys.services.registers import may_change_registers

MOST_SHOWN = 12


@require_safe
@role_required("office", "assessor")
def desk(request: SignedInRequest) -> HttpResponse:
    today = timezone.localdate()
    lists = desk_lists(request.user, today)
    context = {name: rows[:MOST_SHOWN] for name, rows in lists.items()}
    context["steps"] = steps_of(list(context["due"]), now=timezone.now())
    context |= {
        "which_orders": WHICH,
        "today": today,
        "n_due": sum(line.n_late for line in lists["stages"]),
    }
    context["wishes"] = DataRequest.objects.visible_to(request.user).open()[:MOST_SHOWN]
    if may_change_registers(request.user):
        uploads = PendingUpload.objects.visible_to(request.user).for_office(timezone.now())
        context["n_for_office"] = uploads.count()
    return render(request, "mitigation/desk.html", context)
