"""How the log-in library is bent to a practice's needs."""

from allauth.account.adapter import DefaultAccountAdapter
from django.http import HttpRequest


class ClosedAccountAdapter(DefaultAccountAdapter):  # type: ignore[misc]  # untyped library
    """Nobody signs up by themselves: people are entered by the office."""

    def is_open_for_signup(self, request: HttpRequest) -> bool:
        return False
