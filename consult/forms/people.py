"""Forms about people, firms and the practice."""

from typing import Any

from django import forms
from django.conf import settings
from django.contrib.auth.password_validation import password_validators_help_texts
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from consult.forms.clients import VersionedForm
from consult.forms.days import DayField
from consult.forms.labels import label_of
from consult.forms.texts import TextForm
from consult.intake.pictures import (
    LOGO_TOO_LARGE,
    MOST_LOGO_BYTES,
    Picture,
    PictureRefused,
    cleaned_logo,
)
from consult.models import Client, Firm, Practice, User

MOST_ADDRESS_LINES, LONGEST_ADDRESS = 5, 180


class LanguageForm(TextForm):
    language = forms.ChoiceField(label=_("Language"), choices=settings.LANGUAGES)


class PersonForm(VersionedForm):
    # Not a field of the model's here: whether somebody has it already is the service's to say.
    email = forms.EmailField(label=_("E-mail"), max_length=254)
    language = forms.ChoiceField(label=_("Language"), choices=settings.LANGUAGES)

    field_order = ["name", "email", "role", "firm", "language", "is_manager"]

    class Meta:
        model = User
        fields = ["name", "role", "firm", "language", "is_manager"]
        help_texts = {"firm": _("For electricians: the contractor they work for.")}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        role, firm = self.fields["role"], self.fields["firm"]
        assert isinstance(role, forms.ChoiceField) and isinstance(firm, forms.ModelChoiceField)
        role.choices = [("", "–"), *User.Role.choices]
        firm.empty_label = "–"
        if self.instance.pk:
            self.initial["email"] = self.instance.email

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        role = cleaned.get("role")
        if role == User.Role.ELECTRICIAN and not cleaned.get("firm"):
            self.add_error("firm", _("An electrician belongs to a firm."))
        if cleaned.get("is_manager") and role != User.Role.OFFICE:
            self.add_error("is_manager", _("Only somebody of the office runs the practice."))
        return cleaned

    def clean_email(self) -> str:
        email: str = self.cleaned_data["email"].lower()
        return email


class NewPasswordForm(TextForm):
    password = forms.CharField(
        label=_("Password"),
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )
    again = forms.CharField(
        label=_("Password, once more"),
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["password"].help_text = " ".join(password_validators_help_texts())

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if cleaned.get("password") != cleaned.get("again"):
            self.add_error("again", _("The two are not the same."))
        return cleaned


class FirmForm(VersionedForm):
    language = forms.ChoiceField(label=_("Language of orders"), choices=settings.LANGUAGES)
    licence_until = DayField(label=label_of(Firm, "licence_until"), required=False, years_ahead=30)
    insurance_until = DayField(
        label=label_of(Firm, "insurance_until"), required=False, years_ahead=30
    )

    class Meta:
        model = Firm
        fields = [
            "name",
            "address",
            "phone",
            "email",
            "language",
            "trades",
            "licence",
            "licence_until",
            "insurance",
            "insurance_until",
        ]
        widgets = {"address": forms.Textarea(attrs={"rows": 4})}
        help_texts = {"trades": _("Such as: electrical installation, lightning protection.")}

    def validate_unique(self) -> None:
        """Leave uniqueness to the service, which first looks for the row that this form made."""


class PracticeForm(VersionedForm):
    logo = forms.FileField(
        label=_("Logo"),
        required=False,
        widget=forms.FileInput(attrs={"accept": "image/png,image/jpeg"}),
        help_text=_(
            "PNG or JPEG, at most 2 MB. It is printed up to 50 mm wide and 14 mm high, at the top "
            "right. Dark lines on white also print well in black and white."
        ),
    )
    remove_logo = forms.BooleanField(label=_("Print letters without a logo"), required=False)

    class Meta:
        model = Practice
        fields = [
            "name",
            "address",
            "country",
            "phone",
            "email",
            "website",
            "signatory",
            "signatory_function",
            "currency",
            "tax_line",
            "offer_days",
            "second_factor_days",
            "reminds_of_appointments",
            "reminds_of_silence",
            "reminds_of_measuring",
        ]
        help_texts = {
            "country": _("Two capital letters, such as DE or US."),
            "currency": _("Three capital letters, such as EUR or USD."),
            "email": _("Stands on letters, and answers to our e-mails go there."),
            "website": _("Stands on letters where the line has room for it."),
        }
        widgets = {"address": forms.Textarea(attrs={"rows": 4})}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not self.instance.logo:
            del self.fields["remove_logo"]

    def clean_address(self) -> str:
        address: str = self.cleaned_data["address"].strip()
        lines = len(address.splitlines())
        if lines > MOST_ADDRESS_LINES or len(address) > LONGEST_ADDRESS:
            raise forms.ValidationError(
                gettext(
                    "The head of a letter has room for %(lines)s lines and %(length)s characters; "
                    "these are %(given_lines)s and %(given_length)s."
                )
                % {
                    "lines": MOST_ADDRESS_LINES,
                    "length": LONGEST_ADDRESS,
                    "given_lines": lines,
                    "given_length": len(address),
                }
            )
        return address

    def clean_logo(self) -> Picture | None:
        file = self.cleaned_data["logo"]
        if not file:
            return None
        if file.size > MOST_LOGO_BYTES:
            raise forms.ValidationError(gettext(LOGO_TOO_LARGE))
        try:
            return cleaned_logo(file.read())
        except PictureRefused as refused:
            raise forms.ValidationError(gettext(str(refused))) from refused

    def clean_country(self) -> str:
        country: str = self.cleaned_data["country"].strip().upper()
        if len(country) != 2 or not country.isascii() or not country.isalpha():
            raise forms.ValidationError(_("A country is two capital letters, such as DE or US."))
        return country


class OwnContactForm(VersionedForm):
    class Meta:
        model = Client
        fields = ["email", "phone", "address"]
        widgets = {"address": forms.Textarea(attrs={"rows": 4})}
        help_texts = {"email": _("Where we write to. Your log-in keeps its own e-mail.")}
