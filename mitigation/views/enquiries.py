"""What the client said when they called, and their consent to keep a part of it."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from consult.access import SignedInRequest, role_required
from consult.htmx import back_to, entry_form
from consult.services.medical_devices import withdraw_medical_device
from mitigation.forms.enquiries import EnquiryForm
from mitigation.models import Case
from mitigation.services.enquiries import save_enquiry


@require_http_methods(["GET", "HEAD", "POST"])
@role_required("office")
def enquiry_edit(request: SignedInRequest, reference: str) -> HttpResponse:
    case = get_object_or_404(Case.objects.visible_to(request.user), reference=reference)
    form = EnquiryForm(request.POST or None, initial=EnquiryForm.initial_of(case))
    back = reverse("case_detail", args=[reference])
    if request.method == "POST" and form.is_valid():
        values, now = form.enquiry(), timezone.now()
        try:
            save_enquiry(case=case, by=request.user, now=now, values=values, seen=form.seen)
        except ValidationError as error:
            form.add_error(None, error)
        else:
            messages.success(request, _("The enquiry is saved."))
            return back_to(request, back)
    return entry_form(request, form, {"title": _("Enquiry"), "back": back, "about": reference})


@require_POST
@role_required("office")
def medical_device_withdraw(request: SignedInRequest, reference: str) -> HttpResponse:
    """They no longer agree: the words are gone at once; clicked twice, nothing is left to do."""
    case = get_object_or_404(Case.objects.visible_to(request.user), reference=reference)
    withdraw_medical_device(home=case.property, by=request.user, now=timezone.now())
    messages.success(request, _("Nothing is kept of a medical device any more."))
    return redirect("case_detail", reference=reference)
