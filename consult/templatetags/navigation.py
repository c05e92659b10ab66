"""Links that know whether the reader is there already."""

from django import template
from django.template import RequestContext
from django.urls import reverse
from django.utils.safestring import SafeString

register = template.Library()


@register.simple_tag(takes_context=True)
def here(context: RequestContext, *names: str) -> SafeString:
    """`aria-current` for a link whose section has the pages `names` and what lies below them."""
    request = context.get("request")
    if request is None:
        return SafeString()
    roots = [reverse(name) for name in names]
    if request.path == roots[0]:
        return SafeString('aria-current="page"')
    inside = any(request.path.startswith(root) for root in roots)
    return SafeString('aria-current="true"' if inside else "")
