"""When a page is asked for in part."""

from collections.abc import Mapping
from typing import Any

from django.forms import BaseForm
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.utils.cache import patch_vary_headers
from django_htmx.http import HttpResponseClientRedirect

ENTRY_FORM = "consult/entry_form.html"


def wants_fragment(request: HttpRequest) -> bool:
    """True where a control asks for its part of the page; a whole page is wanted otherwise."""
    details: Any = getattr(request, "htmx", None)
    return bool(details) and not details.boosted and not details.history_restore_request


def entry_form(request: HttpRequest, form: BaseForm, context: Mapping[str, Any]) -> HttpResponse:
    """A form on a page of its own, or in place of what it changes; 422 when something is wrong."""
    inline = wants_fragment(request)
    if inline:
        form.visible_fields()[0].field.widget.attrs["autofocus"] = True
    template = f"{ENTRY_FORM}#form" if inline else ENTRY_FORM
    status = 422 if form.errors else 200
    response = render(request, template, {"form": form, "inline": inline, **context}, status=status)
    patch_vary_headers(response, ["HX-Request"])
    return response


def back_to(request: HttpRequest, address: str) -> HttpResponse:
    """After a form was kept: the page that it changed, anew as a whole."""
    if wants_fragment(request):
        return HttpResponseClientRedirect(address)
    return HttpResponseRedirect(address)
