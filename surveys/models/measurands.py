"""What can be measured, in the reader's words."""

from collections.abc import Iterable

from django.utils.text import capfirst
from django.utils.translation import gettext_lazy as _

from surveys.calc.measurands import MEASURANDS, Measurand, Quantity

__all__ = [
    "MEASURANDS",
    "MEASURAND_CHOICES",
    "QUANTITY_CHOICES",
    "Measurand",
    "Quantity",
    "measurand_symbol",
    "measurand_words",
    "plain_names",
    "quantity_words",
]

_MEASURAND_WORDS = {
    Measurand.ELECTRIC_FIELD_GROUND: _("Electric field, ground-referenced"),
    Measurand.ELECTRIC_FIELD_POTENTIAL_FREE: _("Electric field, potential-free"),
    Measurand.BODY_VOLTAGE: _("Body voltage"),
    Measurand.MAGNETIC_FLUX_DENSITY: _("Magnetic flux density"),
}
_SYMBOLS = {
    Measurand.ELECTRIC_FIELD_GROUND: _("E, ground"),
    Measurand.ELECTRIC_FIELD_POTENTIAL_FREE: _("E, free"),
    Measurand.BODY_VOLTAGE: _("U, body"),
    Measurand.MAGNETIC_FLUX_DENSITY: _("B"),
}
_QUANTITY_WORDS = {
    Quantity.ELECTRIC_FIELD: _("electric field"),
    Quantity.BODY_VOLTAGE: _("body voltage"),
    Quantity.MAGNETIC_FLUX_DENSITY: _("magnetic flux density"),
}
MEASURAND_CHOICES = [(code.value, _MEASURAND_WORDS[code]) for code in Measurand]
QUANTITY_CHOICES = [(keyword.value, _QUANTITY_WORDS[keyword]) for keyword in Quantity]


def measurand_words(code: str) -> str:
    """The name of a measurand in the active language."""
    return str(_MEASURAND_WORDS[Measurand(code)])


def plain_names(codes: Iterable[str]) -> dict[str, str]:
    """Measurands as a client reads them: how was measured is named only where two ways were."""
    measurands = [Measurand(code) for code in dict.fromkeys(codes)]
    quantities = [code.quantity for code in measurands]
    return {
        code.value: measurand_words(code)
        if quantities.count(code.quantity) > 1
        else capfirst(quantity_words(code.quantity))
        for code in measurands
    }


def measurand_symbol(code: str) -> str:
    """A measurand in a narrow table, whose letter says what the symbols mean."""
    return str(_SYMBOLS[Measurand(code)])


def quantity_words(keyword: str) -> str:
    """The name of a quantity in the active language."""
    return str(_QUANTITY_WORDS[Quantity(keyword)])
