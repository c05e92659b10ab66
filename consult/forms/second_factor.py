"""Codes of a second factor: guesses count as those of passwords do, and each code works once."""

from allauth.account.adapter import get_adapter
from allauth.core import context
from allauth.mfa.base.forms import AuthenticateForm, ReauthenticateForm
from allauth.mfa.models import Authenticator
from allauth.mfa.totp.forms import ActivateTOTPForm
from allauth.mfa.totp.internal.auth import TOTP

from consult.models import User
from consult.services.guesses import count_guess


class _CountedCode:
    """The library counts codes by name alone, so that a stranger could use up somebody's tries."""

    user: User

    def clean_code(self) -> str:
        guess = count_guess(request=context.request, what="code", email=self.user.email)
        if guess is None:
            raise get_adapter().validation_error("too_many_login_attempts")
        code: str = super().clean_code()  # type: ignore[misc]  # of the form beside it
        guess.take_back()
        return code


class CodeForm(_CountedCode, AuthenticateForm):  # type: ignore[misc]  # untyped library
    """The second step of a log-in."""


class CodeAgainForm(_CountedCode, ReauthenticateForm):  # type: ignore[misc]  # untyped library
    """Somebody who is logged in proves that it is still them."""


class NewAppForm(ActivateTOTPForm):  # type: ignore[misc]  # untyped library
    """The first code of an authenticator app cannot be used again to log in."""

    def clean_code(self) -> str:
        code: str = super().clean_code()
        app = Authenticator(user=self.user, type=Authenticator.Type.TOTP)
        # The library marks only the codes of a log-in, and has no public name for it.
        if not TOTP(app)._mark_code_used(code):
            raise get_adapter().validation_error("incorrect_code")
        return code
