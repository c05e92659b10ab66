"""case.toml, or the sheet that stands for it: who, where, against which guideline."""

import re
import tomllib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TypeVar

from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.utils.translation import gettext

from consult.models.texts import is_control
from surveys.intake.cells import NotAllowed, number_of
from surveys.intake.columns import CASE_KEYS, KeySpec
from surveys.intake.csvfile import decoded
from surveys.intake.faults import FaultLog
from surveys.intake.sources import CASE
from surveys.intake.tables import RawTable, cleaned
from surveys.models import Guideline
from surveys.models.references import validate_reference

T = TypeVar("T")

DEFAULT_TARGET = 2
DEFAULT_PLACEMENT_PERCENT = 5.0
DEFAULT_SUPPLY = (230.0, 50.0)
SUPPLY = {"US": (120.0, 60.0), "CA": (120.0, 60.0)}
SHEET_HEADER = ("section", "key", "value")
_MOST_BYTES = 100_000
_SECTION_LINE = re.compile(r"\s*\[\s*([\w-]+)\s*\]")
_KEY_LINE = re.compile(r"""\s*["']?([\w-]+)["']?\s*=""")


@dataclass(frozen=True)
class CaseFile:
    """The head of a case."""

    reference: str
    client_name: str
    email: str
    language: str
    address: str
    country: str
    supply_voltage_v: float
    frequency_hz: float
    phases: int
    guideline: str
    target_band: int
    placement_percent: float


@dataclass
class Entries:
    """The values by section and key, with their rows, ready to be read one by one."""

    label: str
    values: dict[tuple[str, str], str]
    rows: dict[tuple[str, str], int]
    log: FaultLog
    comma_is_decimal: bool = False

    def read(self, spec: KeySpec, parse: Callable[[str], T], empty: T) -> T:
        """The value of a key through `parse`, or `empty` with a fault where it is wrong."""
        key = (spec.section, spec.key)
        word = self.values.get(key, "")
        if not word:
            if spec.required:
                self.fault(key, spec.name, word, f"{spec.says}; {gettext('it is required')}")
            return empty
        if len(word) > spec.longest or any(map(is_control, word)):
            allowed = gettext("at most %(n)s plain characters") % {"n": spec.longest}
            self.fault(key, spec.name, word, allowed)
            return empty
        if spec.key != "address" and len(word.splitlines()) > 1:
            self.fault(key, spec.name, word, gettext("one line of text"))
            return empty
        try:
            return parse(word)
        except NotAllowed as error:
            self.fault(key, spec.name, word, str(error))
            return empty

    def fault(self, key: tuple[str, str], name: str, found: str, allowed: str) -> None:
        """Note a fault at the row of a key."""
        self.log.add(self.label, self.rows.get(key), name, found, allowed)


def entries_of_toml(data: bytes, log: FaultLog) -> Entries | None:
    """What case.toml holds; None with a fault in `log` when it can't be read."""
    if len(data) > _MOST_BYTES:
        found = gettext("%(n)s bytes") % {"n": len(data)}
        log.add(CASE, None, None, found, gettext("at most %(n)s bytes") % {"n": _MOST_BYTES})
        return None
    text = decoded(CASE, data, log)
    if text is None:
        return None
    try:
        content = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        line = re.search(r"line (\d+)", str(error))
        log.add(CASE, int(line[1]) if line else None, None, str(error), "TOML")
        return None
    entries = Entries(CASE, {}, _key_lines(text), log)
    for name, value in content.items():
        inside = value.items() if isinstance(value, dict) else [(name, value)]
        section = name if isinstance(value, dict) else ""
        if isinstance(value, dict) and not _is_section(name):
            _refuse_key(entries, (name, ""), f"[{name}]")
            continue
        for key, cell in inside:
            _enter(entries, (section.casefold(), key.casefold()), cell)
    return entries


def _is_section(name: str) -> bool:
    return name.casefold() in {spec.section for spec in CASE_KEYS if spec.section}


def _enter(entries: Entries, key: tuple[str, str], value: object) -> None:
    name = ".".join(filter(None, key))
    if key not in {(spec.section, spec.key) for spec in CASE_KEYS}:
        _refuse_key(entries, key, name)
    elif key in entries.values:
        entries.fault(key, name, name, gettext("each key once"))
    elif isinstance(value, bool) or not isinstance(value, str | int | float):
        entries.fault(key, name, str(value), gettext("a text in quotes or a number"))
    else:
        entries.values[key] = value.strip() if isinstance(value, str) else str(value)


def _refuse_key(entries: Entries, key: tuple[str, str], name: str) -> None:
    names = ", ".join(spec.name for spec in CASE_KEYS)
    allowed = gettext("the keys %(names)s") % {"names": names}
    entries.fault(key, name, name, allowed)


def _key_lines(text: str) -> dict[tuple[str, str], int]:
    """The line of each key, as far as plain lines tell it."""
    lines: dict[tuple[str, str], int] = {}
    section = ""
    for number, line in enumerate(text.splitlines(), start=1):
        if match := _SECTION_LINE.match(line):
            section = match[1].casefold()
            lines.setdefault((section, ""), number)
        elif match := _KEY_LINE.match(line):
            lines.setdefault((section, match[1].casefold()), number)
    return lines


def entries_of_sheet(raw: RawTable, log: FaultLog) -> Entries | None:
    """What the sheet "case" holds: a row for each key."""
    header = [cleaned(cell).casefold() for cell in raw.rows[0]] if raw.rows else []
    if tuple(header[:3]) != SHEET_HEADER or any(header[3:]):
        allowed = gettext("the columns %(names)s") % {"names": ", ".join(SHEET_HEADER)}
        log.add(raw.label, 1, None, ", ".join(header), allowed)
        return None
    entries = Entries(raw.label, {}, {}, log)
    for number, row in enumerate(raw.rows[1:], start=2):
        section, key, value, *rest = [cleaned(cell) for cell in row]
        if not any((section, key, value, *rest)):
            continue
        where = (section.casefold(), key.casefold())
        entries.rows.setdefault(where, number)
        if any(rest):
            log.add(raw.label, number, None, str(rest), gettext("three columns"))
        _enter(entries, where, value)
    return entries


def read_case(entries: Entries, guidelines: Sequence[str]) -> CaseFile | None:
    """The head of the case, or None where a value is wrong; `guidelines` are the known codes."""
    before = entries.log.count
    spec = {each.name: each for each in CASE_KEYS}
    country = entries.read(spec["property.country"], _country, "")
    voltage_v, frequency_hz = SUPPLY.get(country, DEFAULT_SUPPLY)
    positive = _number(entries, lambda value: value > 0, gettext("a number above 0"))
    percent = _number(entries, lambda value: 0 <= value <= 100, gettext("a number from 0 to 100"))
    target = str(DEFAULT_TARGET)
    case = CaseFile(
        reference=entries.read(spec["reference"], _reference, ""),
        client_name=entries.read(spec["client.name"], _line, ""),
        email=entries.read(spec["client.email"], _email, ""),
        language=entries.read(spec["client.language"], _language, "en"),
        address=entries.read(spec["property.address"], str, ""),
        country=country,
        supply_voltage_v=entries.read(spec["property.supply_voltage"], positive, voltage_v),
        frequency_hz=entries.read(spec["property.frequency"], positive, frequency_hz),
        phases=int(entries.read(spec["property.phases"], _one_of("1", "2", "3"), "1")),
        guideline=entries.read(spec["assessment.guideline"], _one_of(*guidelines), Guideline.USUAL),
        target_band=int(entries.read(spec["assessment.target"], _one_of("1", "2"), target)),
        placement_percent=entries.read(
            spec["assessment.placement_percent"], percent, DEFAULT_PLACEMENT_PERCENT
        ),
    )
    return case if entries.log.count == before else None


def _number(entries: Entries, check: Callable[[float], bool], says: str) -> Callable[[str], float]:
    def parse(word: str) -> float:
        value = number_of(word, entries.comma_is_decimal, says)
        if not check(value):
            raise NotAllowed(says)
        return value

    return parse


def _one_of(*allowed: str) -> Callable[[str], str]:
    known = {word.casefold(): word for word in allowed}

    def parse(word: str) -> str:
        if word.casefold() not in known:
            raise NotAllowed(", ".join(allowed))
        return known[word.casefold()]

    return parse


def _line(word: str) -> str:
    if len(word.splitlines()) > 1:
        raise NotAllowed(gettext("one line of text"))
    return word


def _reference(word: str) -> str:
    try:
        validate_reference(word)
    except ValidationError as error:
        raise NotAllowed(" ".join(error.messages)) from error
    return word


def _country(word: str) -> str:
    if not re.fullmatch(r"[A-Za-z]{2}", word):
        raise NotAllowed(gettext("two letters, such as DE or US"))
    return word.upper()


def _language(word: str) -> str:
    language = re.split("[-_]", word.casefold())[0]
    if language not in ("en", "de"):
        raise NotAllowed("en, de")
    return language


def _email(word: str) -> str:
    try:
        validate_email(word)
    except ValidationError as error:
        raise NotAllowed(gettext("an e-mail address, such as name@example.org")) from error
    return word
