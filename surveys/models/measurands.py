"""What can be measured, in the reader's words."""

from django.utils.translation import gettext_lazy as _

from surveys.calc.measurands import MEASURANDS, Measurand, Quantity

__all__ = [
    "MEASURANDS",
    "MEASURAND_CHOICES",
    "QUANTITY_CHOICES",
    "Measurand",
    "Quantity",
    "measurand_words",
    "quantity_words",
]

_MEASURAND_WORDS = {
    Measurand.ELECTRIC_FIELD_GROUND: _("Electric field, ground-referenced"),
    Measurand.ELECTRIC_FIELD_POTENTIAL_FREE: _("Electric field, potential-free"),
    Measurand.BODY_VOLTAGE: _("Body voltage"),
    Measurand.MAGNETIC_FLUX_DENSITY: _("Magnetic flux density"),
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


def quantity_words(keyword: str) -> str:
    """The name of a quantity in the active language."""
    return str(_QUANTITY_WORDS[Quantity(keyword)])
