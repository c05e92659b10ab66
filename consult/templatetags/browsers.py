"""Browsers by a short name, as people call them."""

import re

from django import template
from django.utils.translation import gettext as _

register = template.Library()

# A browser also names those that it wants to be taken for, so the rarer name is looked for first.
BROWSERS = (
    (r"\b(?:Edg|EdgA|EdgiOS|Edge)/", "Edge"),
    (r"\b(?:OPR|OPT|Opera)/", "Opera"),
    (r"\bSamsungBrowser/", "Samsung Internet"),
    (r"\b(?:Firefox|FxiOS)/", "Firefox"),
    (r"\bChromium/", "Chromium"),
    (r"\b(?:Chrome|HeadlessChrome|CriOS)/", "Chrome"),
    (r"\bVersion/[\d.]+ .*\bSafari/", "Safari"),
)
SYSTEMS = (
    (r"\(iPhone\b", "iPhone"),
    (r"\(iPad\b", "iPad"),
    (r"\bAndroid\b", "Android"),
    (r"\bWindows\b", "Windows"),
    (r"\bCrOS\b", "ChromeOS"),
    (r"\bMacintosh\b", "macOS"),
    (r"\bLinux\b", "Linux"),
)


def _first(kinds: tuple[tuple[str, str], ...], user_agent: str) -> str:
    return next((name for sign, name in kinds if re.search(sign, user_agent)), "")


@register.filter
def browser_name(user_agent: str) -> str:
    """Browser and system in words, or what the browser said where these cannot be told.

    It is what the browser claims to be: people know their devices by it, and it proves nothing.
    """
    browser, system = _first(BROWSERS, user_agent), _first(SYSTEMS, user_agent)
    # A program that is no browser may borrow a part of its words, but hardly both.
    if not browser or not system or not user_agent.startswith("Mozilla/5.0 ("):
        return user_agent
    return _("%(browser)s on %(system)s") % {"browser": browser, "system": system}
