"""Electrical tests in words: their names, what a value was, and the limit it is held against."""

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from consult.letters.formats import NBSP, Formats
from mitigation.calc.electrical_tests import KIND_OF, Limit, Practice, limits_of

NAMES = {
    "insulation": gettext_noop("insulation resistance"),
    "continuity": gettext_noop("continuity of the protective and bonding conductors"),
    "bond": gettext_noop("resistance of the bond"),
    "loop-impedance": gettext_noop("earth-fault loop impedance"),
    "rcd-trip-1x": gettext_noop("trip time at the rated residual current"),
    "rcd-trip-5x": gettext_noop("trip time at five times the rated residual current"),
    "polarity": gettext_noop("polarity"),
    "grounding": gettext_noop("equipment grounding"),
    "gfci-button": gettext_noop("GFCI, by its test button"),
    "gfci-tester": gettext_noop("GFCI, by a tester"),
    "afci": gettext_noop("AFCI, where fitted"),
    "net-current-before": gettext_noop("net current before the work (clamp)"),
    "net-current-after": gettext_noop("net current after the work (clamp)"),
}
UNITS = {"Mohm": "MΩ", "ohm": "Ω"}
DEVICES = {
    "general": gettext_noop("general type"),
    "selective": gettext_noop("selective type (S)"),
}


def test_name(code: str) -> str:
    """What a test is called, in the active language."""
    return _(NAMES[code]) if code in NAMES else code


def unit_of(code: str) -> str:
    """The unit of a test as it is printed; empty where it is passed or not."""
    unit = KIND_OF[code].unit if code in KIND_OF else ""
    return UNITS.get(unit, unit)


def named_with_unit(code: str) -> str:
    """A test with its unit in brackets, as a form or a sheet asks for it."""
    unit = unit_of(code)
    return f"{test_name(code)} [{unit}]" if unit else test_name(code)


def conditions_words(
    test_voltage_v: float | None, device: str, rated_ma: float | None, formats: Formats
) -> str:
    """At which voltage and on which device a test was made."""
    parts = []
    if test_voltage_v is not None:
        parts.append(_("%(volts)s V dc") % {"volts": formats.given(test_voltage_v)})
    if device in DEVICES:
        parts.append(_(DEVICES[device]))
    if rated_ma is not None:
        parts.append(f"{formats.given(rated_ma)}{NBSP}mA")
    return ", ".join(parts)


def value_words(
    code: str, value: float | None, qualifier: str, passed: bool | None, formats: Formats
) -> str:
    """What the tester showed, or whether the test was passed."""
    if value is None:
        return _("in order") if passed else _("NOT in order")
    digits = formats.given(value)
    return NBSP.join(filter(None, (qualifier, digits, unit_of(code))))


def limit_words(limit: Limit, formats: Formats) -> str:
    """A published limit with its source."""
    unit = unit_of(limit.test)
    values = {
        "low": NBSP.join((formats.given(limit.low), unit)),
        "high": NBSP.join((formats.given(limit.high), unit)),
        "source": limit.source,
    }
    if limit.low is None:
        return _("at most %(high)s (%(source)s)") % values
    if limit.high is None:
        return _("at least %(low)s (%(source)s)") % values
    return _("%(low)s to %(high)s (%(source)s)") % values


def limits_of_sheet(code: str, practice: Practice, formats: Formats) -> str:
    """Every published limit of a test, as the sheet has them; empty without any."""
    lines = []
    for limit in limits_of(code, practice):
        conditions = conditions_words(limit.test_voltage_v, limit.device, None, formats)
        lines.append(": ".join(filter(None, [conditions, limit_words(limit, formats)])))
    return "; ".join(lines)
