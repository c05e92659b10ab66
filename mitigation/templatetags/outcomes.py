"""The words of an outcome, as they stand in its letter too."""

from collections.abc import Mapping
from typing import Any

from django import template
from django.utils.formats import date_format
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from consult.letters import words
from consult.letters.formats import Formats
from mitigation.letters.phrases import reduction_words
from mitigation.models import Case
from surveys.models.measurands import measurand_words

register = template.Library()

register.filter("decision_words", words.decision_words)
register.filter("short_decision_words", words.short_decision_words)
register.filter("measurand_words", measurand_words)
register.filter("phrase", words.phrase)


@register.filter
def decision_mark(code: str) -> str:
    """The small mark beside a decision's words, which also works in black and white."""
    return words.MARKS[code]


@register.filter
def reduction_figure(spot: Mapping[str, Any]) -> str:
    return reduction_words(spot, Formats(get_language() or "en"))[0]


@register.filter
def reduction_interval(spot: Mapping[str, Any]) -> str:
    return reduction_words(spot, Formats(get_language() or "en"))[1]


@register.filter
def hold_words(case: Case) -> str:
    """That a case is on hold, and until which day."""
    if case.on_hold_until is None:
        return _("on hold")
    return _("on hold until %(day)s") % {"day": date_format(case.on_hold_until)}
