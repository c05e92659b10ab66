"""Prices, kinds of remedies and phone numbers in templates."""

import re

from django import template
from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe

from mitigation.letters.money import money_words
from mitigation.letters.remedy_words import remedy_name

register = template.Library()

register.filter("money", money_words)
register.filter("remedy_name", remedy_name)

# As people write them: seven digits or more, with blanks, brackets and dashes between.
_PHONE = re.compile(r"\+?\d(?:[ ()/.-]{0,2}\d){6,}")


@register.filter
def phone_links(text: str) -> SafeString:
    """A text whose phone numbers are dialled at a tap."""

    def link(match: re.Match[str]) -> str:
        number = re.sub(r"[^+\d]", "", match[0])
        return f'<a href="tel:{number}">{match[0]}</a>'

    return mark_safe(_PHONE.sub(link, escape(text)))  # escaped before its numbers became links
