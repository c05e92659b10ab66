"""Links that know whether the reader is there already."""

from functools import cache

from django import template
from django.http import HttpRequest
from django.template import RequestContext
from django.urls import get_script_prefix, reverse
from django.utils.safestring import SafeString

register = template.Library()

# The sections of the top line by the page that opens them, each with the addresses that belong to
# it and do not begin with its own. The longest beginning wins: /me/contact/ is not in /me/.
SECTIONS: dict[str, tuple[str, ...]] = {
    "desk": (),
    "case_list": ("uploads/", "drafts/"),
    "client_list": (
        "contacts/",
        "properties/",
        "rooms/",
        "spots/",
        "panels/",
        "circuits/",
        "appliances/",
        "data/client/",
        "data/copies/",
    ),
    "visit_list": ("readings/", "ground-checks/"),
    "instrument_list": (
        "calibrations/",
        "guidelines/",
        "placement/",
        "remedies/",
        "evidence/",
        "promises/",
    ),
    "letter_list": ("check/", "offers/"),
    "person_list": ("firms/", "practice/", "retention/", "erasures/", "data/person/"),
    "client_home": ("me/contact/", "me/data/", "prepare/", "words/"),
    "order_list": ("appointments/", "calendar/"),
    "own_account": ("accounts/",),
}


@cache
def _roots(prefix: str) -> dict[str, str]:
    """How the addresses of each section begin, on a site that itself begins with `prefix`."""
    return {
        root: name
        for name, others in SECTIONS.items()
        for root in (reverse(name), *(prefix + other for other in others))
    }


def section_of(path: str) -> str | None:
    """The section that an address belongs to, by the name of the page that opens it."""
    roots = _roots(get_script_prefix())
    fitting = [root for root in roots if path.startswith(root)]
    return roots[max(fitting, key=len)] if fitting else None


def _current(request: HttpRequest, name: str, *, is_inside: bool) -> SafeString:
    if request.path == reverse(name):
        return SafeString('aria-current="page"')
    return SafeString('aria-current="true"' if is_inside else "")


@register.simple_tag(takes_context=True)
def section(context: RequestContext, name: str) -> SafeString:
    """`aria-current` for the link of the top line whose section the reader is in."""
    request = context.get("request")
    if request is None:
        return SafeString()
    return _current(request, name, is_inside=section_of(request.path) == name)


@register.simple_tag(takes_context=True)
def here(context: RequestContext, name: str) -> SafeString:
    """`aria-current` for a link to the page `name`, on that page and on what lies below it."""
    request = context.get("request")
    if request is None:
        return SafeString()
    return _current(request, name, is_inside=request.path.startswith(reverse(name)))
