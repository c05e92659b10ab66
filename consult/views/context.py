"""What every page says at its top."""

from typing import Any

from django.http import HttpRequest

from consult.models import current_practice


def practice(request: HttpRequest) -> dict[str, Any]:
    """The practice's name; pages that print no top line pay nothing for it."""

    def name() -> str:
        return current_practice().name

    return {"practice_name": name}
