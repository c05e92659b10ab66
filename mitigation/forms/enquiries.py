"""What the office asks when a client calls; all of it may stay empty."""

from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from consult.forms.labels import label_of
from consult.forms.texts import TextForm
from consult.models import MedicalDevice
from consult.services.changes import version_of
from mitigation.models import Case, Enquiry
from mitigation.models.enquiries import LONGEST


def _text(name: str, rows: int = 0, help_text: Any = "") -> forms.CharField:
    widget = forms.Textarea({"rows": rows}) if rows else forms.TextInput()
    return forms.CharField(
        label=label_of(Enquiry, name),
        max_length=LONGEST[name],
        required=False,
        widget=widget,
        help_text=help_text,
    )


class EnquiryFields(TextForm):
    """The fields of an enquiry, which a page folds in while nothing stands there."""

    FOLD = gettext_lazy("Enquiry: what the client said")
    FOLDED: tuple[str, ...] = (
        "reason", "sleepers", "contact_name", "contact_phone", "wishes", "fitted", "heard_of_us",
        "device", "device_agreed",
    )  # fmt: skip

    reason = _text("reason", 2)
    sleepers = _text("sleepers", 2, gettext_lazy("Such as: parents upstairs, child by the stairs."))
    contact_name = forms.CharField(
        label=gettext_lazy("Second contact: name"),
        max_length=120,
        required=False,
        help_text=gettext_lazy("Becomes one of the people beside the client."),
    )
    contact_phone = forms.CharField(
        label=gettext_lazy("Second contact: phone"), max_length=40, required=False
    )
    wishes = _text("wishes", 0, gettext_lazy("Such as: Tuesdays, not before 10."))
    fitted = _text("fitted", 2, gettext_lazy("Demand switches, shielding, filters: which, where."))
    heard_of_us = _text("heard_of_us")
    device = forms.CharField(
        label=gettext_lazy("Powered medical device in the household"),
        max_length=200,
        required=False,
        help_text=gettext_lazy(
            "For the office alone. Whoever measures or works there reads only: Ask before "
            "switching circuits off."
        ),
    )
    device_agreed = forms.BooleanField(
        label=gettext_lazy("They agreed that we keep this"),
        required=False,
        help_text=gettext_lazy("Without it nothing is kept. They may withdraw it at any time."),
    )

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        if cleaned.get("device") and not cleaned.get("device_agreed"):
            words = _("Without their consent it is not kept: ask them, or leave it out.")
            self.add_error("device_agreed", words)
        if cleaned.get("contact_phone") and not cleaned.get("contact_name"):
            self.add_error("contact_name", _("Whose phone is it?"))
        return cleaned

    def folded_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in self.FOLDED]

    def fold_is_open(self) -> bool:
        """Whether something stands there or is wrong: it is kept in sight."""
        return any(field.errors or field.value() for field in self.folded_fields())

    def enquiry(self) -> dict[str, Any]:
        """What was typed of the enquiry."""
        return {name: self.cleaned_data[name] for name in self.FOLDED}


class EnquiryForm(EnquiryFields):
    """The enquiry of a case, with the state that the person saw."""

    FOLDED = ()
    version = forms.IntegerField(widget=forms.HiddenInput, required=False)
    device_seen = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def enquiry(self) -> dict[str, Any]:
        names = (*EnquiryFields.FOLDED, "device_seen")
        return {name: self.cleaned_data[name] for name in names}

    @property
    def seen(self) -> int:
        return self.cleaned_data.get("version") or 0

    @staticmethod
    def initial_of(case: Case) -> dict[str, Any]:
        device = MedicalDevice.objects.current().filter(property=case.property_id).first()
        shown: dict[str, Any] = {}
        if device is not None:
            shown = {"device": device.words, "device_seen": device.pk}
        row = Enquiry.objects.filter(case=case).first()
        if row is not None:
            shown |= {name: getattr(row, name) for name in LONGEST} | {"version": version_of(row)}
        return shown | {"device_agreed": device is not None}
