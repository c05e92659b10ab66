"""How the log-in library is bent to a practice's needs."""

from types import SimpleNamespace
from typing import Any
from urllib.parse import urlsplit
from uuid import uuid4

from allauth.account.adapter import DefaultAccountAdapter
from allauth.account.signals import password_changed, password_reset
from allauth.mfa.signals import authentication_failed, authenticator_added, authenticator_removed
from django.conf import settings
from django.dispatch import receiver
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.translation import get_language, override
from django.utils.translation import gettext_noop as _

from consult.models import AccessEvent, User
from consult.services.guesses import count_guess, forget_guesses, remember_device
from consult.services.mail import queue_mail
from consult.services.people import record_event


class ClosedAccountAdapter(DefaultAccountAdapter):  # type: ignore[misc]  # untyped library
    """Nobody signs up by themselves: people are entered by the office.

    Its mails go through the job table like every other; who came in and who was refused is noted.
    """

    def is_open_for_signup(self, request: HttpRequest) -> bool:
        return False

    def send_mail(self, template_prefix: str, email: str, context: dict[str, Any]) -> None:
        request = context.get("request") or self.request
        host = urlsplit(settings.SITE_URL).netloc
        ours = SimpleNamespace(domain=host, name=host)  # never the host that a request names
        site = {"request": request, "email": email, "current_site": ours}
        # Its reader's language, not the one of the browser that asked.
        language = getattr(context.get("user"), "language", None) or get_language()
        with override(language):
            message = self.render_mail(template_prefix, email, site | context)
        queue_mail(
            key=f"log-in:{uuid4()}",
            user=context.get("user"),
            to=email,
            subject=message.subject,
            body=message.body,
        )

    def pre_authenticate(self, request: HttpRequest, **credentials: Any) -> None:
        """Let no guess through that is one too many, before anything is hashed."""
        self._guess = count_guess(
            request=request, what="password", email=credentials.get("email") or ""
        )
        if self._guess is None:
            raise self.validation_error("too_many_login_attempts")

    def _rollback_login_failed_rl_usage(self) -> None:
        """The library calls this after a right password."""
        if self._guess is not None:
            self._guess.take_back()

    def _delete_login_attempts_cached_email(self, request: HttpRequest, **credentials: Any) -> None:
        """The library calls this after a new password was set by a mail."""
        forget_guesses(request=request, what="password", email=credentials.get("email") or "")

    def post_login(self, request: HttpRequest, user: User, **kwargs: Any) -> HttpResponse:
        record_event(
            kind=AccessEvent.Kind.LOGGED_IN,
            now=timezone.now(),
            by=user,
            about=user,
            address=self.get_client_ip(request),
        )
        response: HttpResponse = super().post_login(request, user, **kwargs)
        remember_device(request=request, response=response, email=user.email)
        return response

    def authentication_failed(self, request: HttpRequest, **credentials: Any) -> None:
        typed = str(credentials.get("email") or credentials.get("username") or "")
        record_event(
            kind=AccessEvent.Kind.LOGIN_REFUSED,
            now=timezone.now(),
            about=User.objects.filter(email__iexact=typed).first(),
            # Somebody may have typed the password into the wrong field: only an address is kept.
            what=typed if "@" in typed else "",
            address=self.get_client_ip(request),
        )

    def respond_user_inactive(self, request: HttpRequest, user: User) -> HttpResponse:
        """The right password of somebody who is kept out."""
        record_event(
            kind=AccessEvent.Kind.LOGIN_REFUSED,
            now=timezone.now(),
            about=user,
            what="kept out",
            address=self.get_client_ip(request),
        )
        response: HttpResponse = super().respond_user_inactive(request, user)
        return response


# The library tells of these by signals alone. They write a line of the log and decide nothing.


@receiver(authentication_failed)
def _second_factor_refused(request: HttpRequest, user: User, **kwargs: Any) -> None:
    record_event(
        kind=AccessEvent.Kind.LOGIN_REFUSED,
        now=timezone.now(),
        about=user,
        what="second factor",
        address=ClosedAccountAdapter(request).get_client_ip(request),
    )


@receiver([password_changed, password_reset])
def _password_changed(user: User, **kwargs: Any) -> None:
    record_event(
        kind=AccessEvent.Kind.CHANGED, now=timezone.now(), by=user, about=user, what="password"
    )


@receiver([authenticator_added, authenticator_removed])
def _second_factor_changed(
    request: HttpRequest, user: User, authenticator: Any, signal: Any, **kwargs: Any
) -> None:
    request.session.pop("second_factor", None)  # whether it presses is looked at anew
    sign = "+" if signal is authenticator_added else "\u2212"
    record_event(
        kind=AccessEvent.Kind.CHANGED,
        now=timezone.now(),
        by=user,
        about=user,
        what=f"{sign} {authenticator.get_type_display()}",
    )


# The library's German says "du" to people whom every page of ours calls "Sie", and has other words
# for a passkey. Our catalogue says these anew and goes first; they are marked here so that it keeps
# them.
SAID_ANEW = (
    _("Add Security Key"),
    _("Are you sure you want to sign out?"),
    _("Be patient, you are sending too many requests."),
    _(
        "Forgotten your password? Enter your email address below, and we'll send you "
        "an email allowing you to reset it."
    ),
    _("No recovery codes set up."),
    _("No security keys have been added."),
    _("Please type your current password."),
    _(
        "The password reset link was invalid, possibly because it has already been "
        'used.  Please request a <a href="%(passwd_reset_url)s">new password reset</a>.'
    ),
    _(
        "We have sent you an email. If you have not received it please check your spam "
        "folder. Otherwise contact us if you do not receive it in a few minutes."
    ),
    _("Security Keys"),
    _("Two-Factor Authentication"),
    _("You are about to deactivate authenticator app based authentication. Are you sure?"),
    _("You are about to generate a new set of recovery codes for your account."),
    _("You have signed out."),
    _("You must type the same password each time."),
    _("Your password has been changed."),
    _("Your password is now changed."),
    _("Thank you for using %(site_name)s!\n%(site_domain)s"),
    _("You are already logged in as %(user_display)s."),
)
