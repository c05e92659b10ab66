"""Numbers stay on one line with their units, and postal codes with what stands before them."""

import re
from typing import Any

from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe

NBSP = "\u00a0"

_UNITS = (
    "kV/m", "V/m", "mV", "kV", "V", "nT", "µT", "mG", "kHz", "Hz", "m", "cm", "mm", "ft", "in",
    "%", "°C", "dB", "A",
)  # fmt: skip
_NUMBER_AND_UNIT = re.compile(rf"(?<=\d) (?=(?:{'|'.join(_UNITS)})(?![\w/]))")
_SIGN_AND_NUMBER = re.compile(r"(?<=[<>≤≥±]) (?=\d)")
_POSTAL_CODES = (
    re.compile(r"(?<=\b[A-Z]{2}) (?=\d{5}\b)"),  # ME 04999
    re.compile(r"(?<=\b[A-Z]{2}\d) (?=\d[A-Z]{2}\b)"),  # AW3 9ZY
    re.compile(r"(?<=\b[A-Z]{2}\d\d) (?=\d[A-Z]{2}\b)"),
    re.compile(r"(?<=\b[A-Z]\d) (?=\d[A-Z]{2}\b)"),
    re.compile(r"(?<=\b\d{5}) (?=[A-ZÄÖÜ][a-zäöüß])"),  # 24999 Nordach
)
_SLASHED = re.compile(r"(?:[<>≤±\-−\d.,–]+\u00a0)?k?V/m")


def unbroken(text: str) -> str:
    """The text with no-break spaces inside numbers with units and inside postal codes."""
    text = _SIGN_AND_NUMBER.sub(NBSP, _NUMBER_AND_UNIT.sub(NBSP, text))
    for code in _POSTAL_CODES:
        text = code.sub(NBSP, text)
    return text


def unbroken_content(value: Any) -> Any:
    """Every text of a content unbroken; the content is plain data and is not changed itself."""
    if isinstance(value, str):
        return unbroken(value)
    if isinstance(value, dict):
        return {
            key: part if key in _KEYS else unbroken_content(part) for key, part in value.items()
        }
    if isinstance(value, list | tuple):
        return [unbroken_content(part) for part in value]
    return value


# Never printed among words.
_KEYS = frozenset({"data", "width", "height", "identifier", "kind", "type", "case", "number"})


def unbroken_html(text: str) -> SafeString:
    """A text as HTML; a line could end behind the slash of a unit, which is kept whole."""
    if "V/m" not in text:
        return escape(text)
    return mark_safe(_SLASHED.sub(r'<span class="unit">\g<0></span>', escape(text)))
