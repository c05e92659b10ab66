"""Readings in the words and figures of a reader."""

from typing import Any

from django import template
from django.utils.translation import get_language

from consult.calc.rounding import rounded
from consult.letters import words
from consult.letters.formats import Formats
from surveys.models import Measurand, Reading
from surveys.models.measurands import measurand_words

register = template.Library()

register.filter("measurand_words", measurand_words)
register.filter("phrase", words.phrase)
register.filter("rule_sentence", words.rule_sentence)


@register.filter
def display(reading: Reading, axis: str) -> str:
    """What the meter's display showed on one axis, with its mark."""
    value = getattr(reading, axis)
    if value is None:
        return ""
    mark = getattr(reading, f"{axis}_mark")
    return f"{mark}{Formats(get_language() or 'en').given(value)}"


@register.filter
def whole_display(reading: Reading) -> str:
    """The whole display with its unit, such as `X 3, Y <0.3 V/m`."""
    shown = ((axis, display(reading, axis)) for axis in ("x", "y", "z"))
    axes = [f"{axis.upper()} {words}" for axis, words in shown if words]
    return f"{', '.join(axes) or display(reading, 'total')} {reading.unit}"


@register.filter
def of_key(table: dict[Any, Any], key: Any) -> Any:
    """The entry of a table; nothing where there is none."""
    return table.get(key)


@register.filter
def own_unit(measurand: str) -> str:
    """The one unit that a measurand has inside."""
    return Measurand(measurand).unit


@register.filter
def figures(value: float, significant: int) -> str:
    """A number to so many significant figures."""
    digits = rounded(value, significant=significant).value
    return Formats(get_language() or "en").number(digits)
