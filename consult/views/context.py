"""What every page says at its top."""

from functools import cache
from typing import Any

from django.http import HttpRequest

from consult.models import current_practice


def practice(request: HttpRequest) -> dict[str, Any]:
    """The practice's name, country, currency: read once for a page, if it prints one of them."""
    row = cache(current_practice)
    return {
        "practice_name": lambda: row().name,
        "practice_country": lambda: row().country,
        "practice_currency": lambda: row().currency,
    }
