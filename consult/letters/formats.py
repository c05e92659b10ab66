"""Numbers, days and intervals as a reader of the letter's language writes them."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.utils.dateformat import format as format_date
from django.utils.translation import gettext as _

from consult.calc.rounding import as_given, localised, rounded, rounded_bound
from consult.letters.charts import PictureWords

NBSP = "\u00a0"
MINUS = "\u2212"
NT_PER_MG = 100.0
DISPLAY_FIGURES = 6
DAY_FIRST = {"de": "j. F Y", "en": "j F Y"}


@dataclass(frozen=True)
class Formats:
    """How one letter writes: its language, and the country that decides the order of a date."""

    language: str
    country: str = ""

    @property
    def decimal_mark(self) -> str:
        return "," if self.language.startswith("de") else "."

    def number(self, digits: str) -> str:
        """Digits from the rounding functions, in the marks of the language."""
        group = "." if self.decimal_mark == "," else ","
        return localised(digits, decimal=self.decimal_mark, group=group, minus=MINUS)

    def given(self, value: float | None) -> str:
        """A number that somebody chose or wrote: all its digits; empty where there is none."""
        return "" if value is None else self.number(as_given(value))

    def quantity(self, value: float, unit: str, qualifier: str = "") -> str:
        """A number as a display shows it, with its unit: at most six figures, none that is idle."""
        digits = self.given(float(rounded(value, significant=DISPLAY_FIGURES).value))
        return NBSP.join(filter(None, (qualifier, digits, unit)))

    def shown(self, display: str) -> str:
        """What the meter's display showed, only its decimal mark in the reader's language."""
        return display.replace(".", self.decimal_mark)

    def day(self, value: date | None) -> str:
        """A day with its month in letters, so that nobody reads 3/4 the wrong way round."""
        if value is None:
            return ""
        if self.language == "en" and self.country == "US":
            return format_date(value, "F j, Y")
        return format_date(value, DAY_FIRST.get(self.language, "j F Y"))

    def value(self, value: float, qualifier: str, u: float | None) -> str:
        """A value to the place of its expanded uncertainty; a bound with its sign."""
        if qualifier:
            digits = rounded_bound(value, up=qualifier != ">")
            return f"{qualifier}{NBSP}{self.number(digits)}"
        return self.number(rounded(value, None if u is None else 2.0 * u).value)

    def with_uncertainty(self, value: float, qualifier: str, u: float | None) -> str:
        """Value ± U, k = 2; a bound stands alone."""
        if qualifier or u is None:
            return self.value(value, qualifier, u)
        both = rounded(value, 2.0 * u)
        if not both.uncertainty:
            return self.number(both.value)
        return f"{self.number(both.value)} ± {self.number(both.uncertainty)}"

    def two_figures(self, spread: float) -> str:
        """A spread such as a guard band, to two figures."""
        return self.number(rounded(spread, significant=2).value)

    def percent(self, digits: str) -> str:
        return f"{self.number(digits)}{NBSP}%"


def in_unit(value: float, unit: str, display_unit: str) -> float:
    """A canonical value in the unit it is printed in: nT may be printed in mG."""
    return value / NT_PER_MG if (unit, display_unit) == ("nT", "mG") else value


def display_unit(unit: str, flux_unit: str) -> str:
    return flux_unit if unit == "nT" else unit


def listing(items: list[str]) -> str:
    """Words in a row with "and" before the last."""
    if len(items) < 2:
        return "".join(items)
    return _("%(first)s and %(last)s") % {"first": ", ".join(items[:-1]), "last": items[-1]}


def places(spots: Iterable[tuple[str, str]]) -> str:
    """Rooms with their spots in a sentence: "Bedroom (bed head; bed middle) and Study (desk)"."""
    rooms: dict[str, list[str]] = {}
    for room, spot in dict.fromkeys(spots):
        rooms.setdefault(room, []).append(spot)
    return listing([f"{room} ({'; '.join(names)})" for room, names in rooms.items()])


def picture_words(language: str) -> PictureWords:
    """The picture's words in the language that is active, its numbers in `language`."""
    return PictureWords(
        title=_("Before and after"),
        before=_("before"),
        after=_("after"),
        found=_("measured"),
        interval=_("95 % interval"),
        target=_("target"),
        rose=_("rose"),
        at_least=_("change at least"),
        not_comparable=_("no comparison: before above, after below"),
        decimal_mark=Formats(language).decimal_mark,
        reduction=_("reduction"),
    )
