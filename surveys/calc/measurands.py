"""What can be measured: the one list from which every order, unit and keyword comes."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType


class Quantity(StrEnum):
    """What an instrument is calibrated for, by its keyword in a case folder."""

    ELECTRIC_FIELD = "electric field"
    BODY_VOLTAGE = "body voltage"
    MAGNETIC_FLUX_DENSITY = "magnetic flux density"

    @property
    def units(self) -> tuple[str, ...]:
        """The units that a display may show it in; inside it has the first."""
        return _UNITS[self]


class Measurand(StrEnum):
    """What was measured; the two electric ones are never mixed in one ratio."""

    ELECTRIC_FIELD_GROUND = "electric-field-ground"
    ELECTRIC_FIELD_POTENTIAL_FREE = "electric-field-potential-free"
    BODY_VOLTAGE = "body-voltage"
    MAGNETIC_FLUX_DENSITY = "magnetic-flux-density"

    @property
    def quantity(self) -> Quantity:
        return _TRAITS[self].quantity

    @property
    def reference(self) -> str:
        """What tells it from another measurand of its quantity in a case folder, if one does."""
        return _TRAITS[self].reference

    @property
    def has_ground_point(self) -> bool:
        """Whether it is read against a ground point."""
        return _TRAITS[self].has_ground_point

    @property
    def short(self) -> str:
        """Its name in a narrow table for engineers."""
        return _TRAITS[self].short

    @property
    def units(self) -> tuple[str, ...]:
        """The units that a display may show it in."""
        return self.quantity.units

    @property
    def unit(self) -> str:
        """The one unit that it has inside."""
        return self.units[0]

    @property
    def number(self) -> int:
        """Its place in the list, which stands for it in arrays."""
        return NUMBER_OF[self]


@dataclass(frozen=True)
class _Traits:
    quantity: Quantity
    reference: str
    has_ground_point: bool
    short: str


_UNITS: Mapping[Quantity, tuple[str, ...]] = MappingProxyType(
    {
        Quantity.ELECTRIC_FIELD: ("V/m", "kV/m"),
        Quantity.BODY_VOLTAGE: ("mV", "V"),
        Quantity.MAGNETIC_FLUX_DENSITY: ("nT", "\u00b5T", "mG"),
    }
)
_TRAITS: Mapping[Measurand, _Traits] = MappingProxyType(
    {
        Measurand.ELECTRIC_FIELD_GROUND: _Traits(
            Quantity.ELECTRIC_FIELD, "ground", True, "E ground-referenced"
        ),
        Measurand.ELECTRIC_FIELD_POTENTIAL_FREE: _Traits(
            Quantity.ELECTRIC_FIELD, "potential-free", False, "E potential-free"
        ),
        Measurand.BODY_VOLTAGE: _Traits(Quantity.BODY_VOLTAGE, "", True, "body voltage"),
        Measurand.MAGNETIC_FLUX_DENSITY: _Traits(Quantity.MAGNETIC_FLUX_DENSITY, "", False, "B"),
    }
)

MEASURANDS = tuple(Measurand)
"""In the order in which they are named everywhere; `number` is the place in it."""

NUMBER_OF: Mapping[str, int] = MappingProxyType({code: n for n, code in enumerate(MEASURANDS)})

ELECTRIC_FIELDS = frozenset(code for code in MEASURANDS if code.quantity == Quantity.ELECTRIC_FIELD)

MEASURAND_OF: Mapping[tuple[str, str], Measurand] = MappingProxyType(
    {(code.quantity.value, code.reference): code for code in MEASURANDS}
)
"""By quantity and reference, as a case folder names them."""
