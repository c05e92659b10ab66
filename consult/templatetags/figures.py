"""Numbers in templates, through one door: rounded by their uncertainty, in the reader's language."""

from collections.abc import Mapping
from typing import Any

from django import template
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from consult.calc.rounding import rounded, rounded_down, rounded_interval
from consult.letters.formats import MINUS, Formats

register = template.Library()


def _formats() -> Formats:
    return Formats(get_language() or "en")


@register.filter
def measured(side: Mapping[str, Any] | None) -> str:
    """A value with its expanded uncertainty, or its bound: `48 ± 6`, `< 0.3`."""
    if side is None:
        return "-"
    return _formats().with_uncertainty(side["value"], side["qualifier"], side["u"])


@register.filter
def given(value: float | None) -> str:
    """A number that somebody chose: all its digits."""
    return "-" if value is None else _formats().given(value)


@register.filter
def change(reduction: Mapping[str, Any]) -> str:
    """A reduction in percent: `95.0 %`, `at least 90 %`, `rose by 35 %`."""
    formats = _formats()
    if reduction["at_least"]:
        return _("at least %(figure)s") % {
            "figure": formats.percent(rounded_down(reduction["percent_low"], 1))
        }
    value, _low, _high = _interval(reduction)
    if reduction["percent"] < 0:
        return _("rose by %(figure)s") % {"figure": formats.percent(value.lstrip("-" + MINUS))}
    return formats.percent(value)


@register.filter
def change_interval(reduction: Mapping[str, Any]) -> str:
    """The 95 % interval of a reduction, lower end first; empty for "at least"."""
    if reduction["at_least"]:
        return ""
    formats = _formats()
    _value, low, high = _interval(reduction)
    return _("%(low)s to %(high)s") % {"low": formats.number(low), "high": formats.percent(high)}


def _interval(reduction: Mapping[str, Any]) -> tuple[str, str, str]:
    return rounded_interval(
        reduction["percent"], reduction["percent_low"], reduction["percent_high"]
    )


@register.filter
def probability(value: float | None) -> str:
    """A probability as a percentage that never claims certainty."""
    if value is None:
        return "-"
    formats = _formats()
    if value > 0.999:
        return "> " + formats.percent("99.9")
    if value < 0.001:
        return "< " + formats.percent("0.1")
    return formats.percent(rounded(100 * value, significant=3).value)
