"""Who has to log in with a second factor, and from which day on nothing goes without it."""

from datetime import date, timedelta

from allauth.mfa.models import Authenticator
from django.utils import timezone

from consult.models import User, current_practice

# Recovery codes alone are none: they stand in for one of these.
FACTORS = (Authenticator.Type.TOTP, Authenticator.Type.WEBAUTHN)


def days_without_factor(*, user: User, today: date) -> int | None:
    """How many days somebody may go on without a second factor; None where nothing presses.

    It presses for the office alone, which sees everything. The practice says how many days it
    gives, counted from when it said so or from when the person joined.
    """
    if user.role != User.Role.OFFICE:
        return None
    practice = current_practice()
    if practice.second_factor_days is None:
        return None
    if Authenticator.objects.filter(user=user, type__in=FACTORS).exists():
        return None
    begun = max(practice.second_factor_since, timezone.localdate(user.joined_at))
    return max(0, (begun + timedelta(days=practice.second_factor_days) - today).days)
