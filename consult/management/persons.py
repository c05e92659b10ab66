"""Somebody named on a command line."""

from django.core.management.base import CommandError

from consult.models import Client, User

WHOSE = ("client", "person")


def person_of(whose: str, number: int) -> Client | User:
    """The client or the log-in with this number."""
    model: type[Client] | type[User] = Client if whose == "client" else User
    person = model._default_manager.filter(pk=number).first()
    if person is None:
        raise CommandError(f"There is no {whose} {number}.")
    return person


def manager_of(email: str) -> User:
    """Who runs the practice and does this."""
    manager = User.objects.filter(email__iexact=email, is_manager=True, is_active=True).first()
    if manager is None:
        raise CommandError(f"Nobody who runs the practice has the log-in {email}.")
    return manager
