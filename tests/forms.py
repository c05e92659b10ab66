"""A form as somebody has it before their eyes."""

from typing import Any

from django.test import Client as Browser


def opened(browser: Browser, address: str) -> dict[str, Any]:
    """What the form of a page would send untouched, hidden fields and all, without files."""
    form = browser.get(address).context["form"]
    said = {
        field.html_name: field.value()
        for field in form
        if not field.field.widget.needs_multipart_form
    }
    shown = {name: "" if value is None else value for name, value in said.items()}
    return {name: value for name, value in shown.items() if value is not False}
