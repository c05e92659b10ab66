"""Readings in the words and figures of a reader."""

from typing import Any

from django import template
from django.utils.translation import get_language

from consult.calc.rounding import rounded
from consult.letters import words
from consult.letters.formats import Formats
from surveys.models import Measurand, Reading, displays
from surveys.models.measurands import measurand_words
from surveys.models.visits import aside_words

register = template.Library()

register.filter("measurand_words", measurand_words)
register.filter("phrase", words.phrase)
register.filter("rule_sentence", words.rule_sentence)


@register.filter
def display(reading: Reading, axis: str) -> str:
    """What the meter's display showed on one axis, with its mark."""
    return displays.cell(reading, axis, _write)


@register.filter
def whole_display(reading: Reading) -> str:
    """The whole display with its unit, such as `X 3, Y <0.3 V/m`."""
    return displays.whole(reading, reading.unit, _write)


def _write(value: float) -> str:
    return Formats(get_language() or "en").given(value)


@register.filter
def of_key(table: dict[Any, Any], key: Any) -> Any:
    """The entry of a table; nothing where there is none."""
    return table.get(key)


register.filter("aside_words", aside_words)


@register.filter
def own_unit(measurand: str) -> str:
    """The one unit that a measurand has inside."""
    return Measurand(measurand).unit


@register.filter
def figures(value: float, significant: int) -> str:
    """A number to so many significant figures."""
    digits = rounded(value, significant=significant).value
    return Formats(get_language() or "en").number(digits)
