"""Forms about people's data: a wish, an erasure, the periods."""

from typing import Any

from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from consult.forms.texts import TextForm
from consult.models import DataRequest, Retention


class ErasureForm(TextForm):
    """The name typed out, because this can't be undone; a reason where a period is not over."""

    name = forms.CharField(
        label=_("Type the name as it stands above"), widget=forms.TextInput({"autocomplete": "off"})
    )
    reason = forms.CharField(
        label=_("Why it must be before its time"),
        max_length=200,
        help_text=_("Stays for good with the proof of the erasure, so name nobody in it."),
    )

    def __init__(self, *args: Any, expected: str, needs_reason: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.expected = " ".join(expected.split())
        if not needs_reason:
            del self.fields["reason"]

    def clean_name(self) -> str:
        typed = " ".join(self.cleaned_data["name"].split())
        if typed != self.expected:
            raise forms.ValidationError(
                gettext("This is not the name. Type: %(name)s") % {"name": self.expected}
            )
        return typed


class DataRequestForm(TextForm):
    kind = forms.ChoiceField(choices=DataRequest.Kind.choices)


class RetentionForm(TextForm, forms.ModelForm):  # type: ignore[type-arg]  # not subscriptable at run time
    class Meta:
        model = Retention
        fields = ["case_years", "access_log_days", "mail_days", "job_days", "package_days"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, field in self.fields.items():
            row_field: Any = Retention._meta.get_field(name)
            least, most = (validator.limit_value for validator in row_field.validators[:2])
            field.help_text = gettext("%(least)s to %(most)s") % {"least": least, "most": most}
            field.widget.attrs |= {"min": least, "max": most}
