"""The one scale of a letter: the highest missed values between target and public level."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from consult.letters.content import Block, levels
from consult.letters.formats import NBSP, Formats, display_unit, in_unit, places
from consult.letters.words import spot_name
from surveys.calc.safety import reference_level
from surveys.letters.order import Place, by_measurand
from surveys.models import Measurand


@dataclass(frozen=True)
class Measured:
    """What a place was found at in one quantity, and the upper limit of the target."""

    place: Place
    measurand: str
    name: str  # of the measurand, for a client
    unit: str
    value: float
    qualifier: str
    u: float | None
    limit: float

    def words(self, formats: Formats, flux_unit: str) -> str:
        """The value with its unit, as the client reads it."""
        shown = display_unit(self.unit, flux_unit)
        u = None if self.u is None else in_unit(self.u, self.unit, shown)
        return f"{formats.value(self._shown(self.value, shown), self.qualifier, u)}{NBSP}{shown}"

    def limit_words(self, formats: Formats, flux_unit: str) -> str:
        """The limit with its unit, as the client reads it."""
        shown = display_unit(self.unit, flux_unit)
        return f"{formats.given(self._shown(self.limit, shown))}{NBSP}{shown}"

    def _shown(self, value: float, shown: str) -> float:
        return in_unit(value, self.unit, shown)


def public_levels(frequency_hz: float | None) -> dict[str, float]:
    """The general public's reference level of each quantity that has one."""
    if frequency_hz is None:
        return {}
    levels = {code.value: reference_level(code, frequency_hz) for code in Measurand}
    return {code: level for code, level in levels.items() if not math.isnan(level)}


def scale_block(
    missed: Sequence[Measured], public: Mapping[str, float], formats: Formats, flux_unit: str
) -> list[Block]:
    """The highest missed value of each quantity that has a public level; else nothing."""
    rows = []
    for code, group in by_measurand(missed, lambda value: value.measurand).items():
        if code in public:
            worst = max(group, key=lambda value: value.value)
            rows.append(_row(worst, public[code], formats, flux_unit))
    if not rows:
        return []
    title = _("The highest missed values beside the public reference level")
    return [levels(rows, {"title": title})]


def _row(worst: Measured, level: float, formats: Formats, flux_unit: str) -> dict[str, Any]:
    shown = display_unit(worst.unit, flux_unit)
    top = in_unit(level, worst.unit, shown)
    level_text = _("public reference level %(value)s") % {
        "value": formats.quantity(float(f"{top:.4g}"), shown)
    }
    limit_text = _("target %(value)s") % {"value": worst.limit_words(formats, flux_unit)}
    value_text = worst.words(formats, flux_unit)
    name, place = worst.name, spot_name(*worst.place)
    return {
        "name": name,
        "place": place,
        "limit": in_unit(worst.limit, worst.unit, shown),
        "value": in_unit(worst.value, worst.unit, shown),
        "level": top,
        "open_end": worst.qualifier == ">",
        "value_text": value_text,
        "limit_text": limit_text,
        "level_text": level_text,
        "sentence": f"{name}: {place}, {value_text}; {limit_text}, {level_text}.",
    }


def not_excluded(
    values: Sequence[Measured], public: Mapping[str, float], formats: Formats, flux_unit: str
) -> list[str]:
    """Where a field was beyond the meter's range, so that nobody knows how high it is."""
    beyond: dict[str, list[Place]] = {}
    for measured in values:
        level = public.get(measured.measurand, 0.0)  # above it there is a danger, told elsewhere
        if measured.qualifier == ">" and measured.value <= level:
            words = f"{measured.name} {measured.words(formats, flux_unit)}"
            beyond.setdefault(words, []).append(measured.place)
    if not beyond:
        return []
    values_there = "; ".join(f"{places(where)}: {words}" for words, where in beyond.items())
    return [
        _(
            "Beyond the range of the meter: %(values)s. That the field lies above the public "
            "reference level there is not excluded."
        )
        % {"values": values_there}
    ]
