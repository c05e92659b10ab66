"""How long things are kept, and what goes when."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from consult.access import SignedInRequest, manager_required
from consult.forms.privacy import RetentionForm
from consult.models import Retention
from consult.services.privacy import clearing as services

MOST_SHOWN = 100


@require_http_methods(["GET", "HEAD", "POST"])
@manager_required
def retention(request: SignedInRequest) -> HttpResponse:
    """The periods, and a dry run of them."""
    form = RetentionForm(request.POST or None, instance=Retention.current())
    if request.method == "POST" and form.is_valid():
        services.save_retention(retention=form.instance, by=request.user)
        messages.success(request, _("These periods hold from now on."))
        return redirect("retention")
    now = timezone.now()
    over = services.overdue_clients(now=now)
    context = {
        "form": form,
        "lines": services.what_goes(now=now),
        "overdue": over[:MOST_SHOWN],
        "n_overdue": len(over),
    }
    status = 422 if form.errors else 200
    return render(request, "consult/retention.html", context, status=status)
