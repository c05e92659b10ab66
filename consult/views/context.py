"""What every page says at its top."""

from typing import Any

from django.http import HttpRequest

from consult.models import current_practice


def practice(request: HttpRequest) -> dict[str, Any]:
    """The practice's name, country, currency; pages that print none of them pay nothing for it."""

    def name() -> str:
        return current_practice().name

    def country() -> str:
        return current_practice().country

    def currency() -> str:
        return current_practice().currency

    return {"practice_name": name, "practice_country": country, "practice_currency": currency}
