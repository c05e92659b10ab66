"""The office confirms or refuses what an upload brings to the registers."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from consult.access import SignedInRequest, role_required
from mitigation.forms.uploads import DecisionForm
from mitigation.models import PendingUpload
from mitigation.pages.uploads import upload_parts
from mitigation.services.upload_decisions import decide_upload, decision_in_words


@require_http_methods(["GET", "HEAD", "POST"])
@role_required("office")
def upload_decide(request: SignedInRequest, token: str) -> HttpResponse:
    """An upload that waits for the office, with its certificates beside those of the register."""
    now = timezone.now()
    waiting = PendingUpload.objects.visible_to(request.user).for_office(now)
    pending = waiting.filter(token=token).first()
    if pending is None:
        # Of one that was decided on meanwhile the office is told that, and no more.
        decided = get_object_or_404(PendingUpload.objects.decided(), token=token)
        messages.info(request, decision_in_words(decided))
        return redirect("desk")
    form = DecisionForm(request.POST or None, initial={"seen": pending.times_returned})
    if form.is_valid():
        try:
            decide_upload(pending=pending, by=request.user, now=now, **form.cleaned_data)
        except ValidationError as error:
            form.add_error(None, error)
        else:
            messages.success(request, _("Your decision is kept, and its owner sees it."))
            return redirect("desk")
    context = upload_parts(pending) | {"form": form}
    status = 422 if request.method == "POST" else 200
    return render(request, "mitigation/upload_decide.html", context, status=status)
