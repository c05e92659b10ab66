"""Checking a letter: by its number and code, or by its file."""

from django import forms
from django.utils.translation import gettext_lazy as _

from consult.forms.texts import TextForm

_TYPED = {"autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false"}


class LetterCodeForm(TextForm):
    number = forms.CharField(
        label=_("Number of the letter"),
        max_length=20,
        widget=forms.TextInput({"autocomplete": "off"}),
        help_text=_("Such as 2026-0042; it stands at the foot of every page."),
    )
    code = forms.CharField(
        label=_("Code"),
        max_length=40,
        widget=forms.TextInput(_TYPED),
        help_text=_("Beside the signature; capitals and hyphens do not matter."),
    )


class LetterFileForm(TextForm):
    file = forms.FileField(
        label=_("PDF file of the letter"),
        help_text=_("It is compared and not kept. At most 5 MB."),
    )
