"""Numbers in templates: one door, rounded by their uncertainty, in the reader's language."""

from collections.abc import Mapping
from typing import Any

from django import template
from django.utils.translation import get_language

from consult.calc.rounding import rounded
from consult.letters.formats import Formats

register = template.Library()


def _formats() -> Formats:
    return Formats(get_language() or "en")


@register.filter
def measured(side: Mapping[str, Any] | None) -> str:
    """A value with its expanded uncertainty, or its bound: `48 ± 6`, `< 0.3`."""
    if side is None:
        return "–"
    return _formats().with_uncertainty(side["value"], side["qualifier"], side["u"])


@register.filter
def given(value: float | None) -> str:
    """A number that somebody chose: all its digits."""
    return "–" if value is None else _formats().given(value)


@register.filter
def quantity(measured: Any) -> str:
    """What has a value, a unit and a sign, as a display shows it: `> 2000 nT`."""
    return _formats().quantity(measured.value, measured.unit, measured.qualifier)


@register.filter
def probability(value: float | None) -> str:
    """A probability as a percentage that never claims certainty."""
    if value is None:
        return "–"
    formats = _formats()
    if value > 0.999:
        return "> " + formats.percent("99.9")
    if value < 0.001:
        return "< " + formats.percent("0.1")
    return formats.percent(rounded(100 * value, significant=3).value)
