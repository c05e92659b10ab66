"""When a page is asked for in part."""

from typing import Any

from django.http import HttpRequest


def wants_fragment(request: HttpRequest) -> bool:
    """True where a control asks for its part of the page; a whole page is wanted otherwise."""
    details: Any = getattr(request, "htmx", None)
    return bool(details) and not details.boosted and not details.history_restore_request
