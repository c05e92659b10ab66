"""What the log-in library's forms do otherwise here."""

from typing import Any

from allauth.account.forms import ResetPasswordForm
from django.conf import settings
from django.http import HttpRequest

from consult.services.password_resets import ask_reset


class ResetForm(ResetPasswordForm):  # type: ignore[misc]  # untyped library
    """Does the same work for a known name and an unknown one: neither is looked for."""

    def clean_email(self) -> str:
        email: str = self.cleaned_data["email"].lower()
        return email

    def save(self, request: HttpRequest, **kwargs: Any) -> str:
        email: str = self.cleaned_data["email"]
        ask_reset(email=email, site=settings.SITE_URL)
        return email
