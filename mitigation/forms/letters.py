"""Forms about the letters of a case."""

from django import forms
from django.utils.translation import gettext_lazy as _

from consult.forms.once import OnceForm


class CorrectionForm(OnceForm):
    reason = forms.CharField(
        label=_("What was wrong"),
        max_length=400,
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text=_("The client reads this in the new letter, so write it in their language."),
    )
