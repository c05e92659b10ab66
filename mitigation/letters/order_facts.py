"""What an order and a report tell: plain values, gathered once when they are frozen."""

from dataclasses import dataclass
from datetime import date, datetime

from mitigation.calc.electrical_tests import Practice


@dataclass(frozen=True)
class OrderItem:
    """One item as an electrician reads it: no price."""

    name: str
    kind: str  # its English name
    sources: tuple[str, ...]
    room: str
    spots: tuple[str, ...]
    serves: tuple[tuple[str, str], ...]  # room and spot of what it should help
    instructions: str
    see_to: str = ""


@dataclass(frozen=True)
class CircuitLine:
    """A circuit of the panel, as it stands in the register of the home."""

    panel: str
    name: str
    label: str
    phase: str
    rating_a: float | None
    rcd: str
    is_named: bool  # by an item of the order


@dataclass(frozen=True)
class OrderSheet:
    """Everything that the sheet of an order prints."""

    number: int
    case_reference: str
    firm: str
    place: str
    country: str
    supply_voltage_v: float
    frequency_hz: float
    phases: int
    practice: Practice
    access: str
    contact: str
    wished_days: str
    agreed_at: datetime | None
    due_on: date | None
    words: str
    must_ask: bool
    dangers: tuple[str, ...]
    items: tuple[OrderItem, ...]
    circuits: tuple[CircuitLine, ...]
    documents: tuple[str, ...] = ()  # their names


@dataclass(frozen=True)
class ReportedValue:
    """A test with what was read, and the limit of that day."""

    item: str
    test: str
    about: str
    value: float | None
    qualifier: str
    passed: bool | None
    test_voltage_v: float | None
    device: str
    rated_ma: float | None
    instrument: str
    calibrated_until: date | None
    remark: str
    is_missed: bool


@dataclass(frozen=True)
class ReportedItem:
    """How an item ended."""

    name: str
    kind: str
    result: str
    done_on: date | None
    words: str


@dataclass(frozen=True)
class ReportSheet:
    """Everything that a signed report prints."""

    order: int
    version: int
    reason: str
    firm: str
    place: str
    country: str
    practice: Practice
    signed_name: str
    licence: str
    signed_on: date
    remark: str
    items: tuple[ReportedItem, ...]
    values: tuple[ReportedValue, ...]
    n_photos: int
