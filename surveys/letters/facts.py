"""What letters need to know of visits, instruments and findings: plain values, no rows."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date


@dataclass(frozen=True)
class GuidelineFacts:
    """The table that is applied; band words in English, as in the fixture."""

    code: str
    band_words: tuple[str, str, str, str]
    bounds: Mapping[str, tuple[float, float, float]]
    edition: str = ""


@dataclass(frozen=True)
class VisitFacts:
    """One visit and its conditions."""

    kind: str
    day: date
    assessor: str = ""
    temperature_c: float | None = None
    humidity_percent: float | None = None
    supply_voltage: float | None = None
    note: str = ""
    readings: int = 0
    trials: int = 0
    label: str = ""
    deviations: str = ""
    sampling: str = ""


@dataclass(frozen=True)
class InstrumentFacts:
    """One instrument for one quantity, with the certificate in force on the days it was used."""

    name: str
    measurand: str
    unit: str
    gain_percent: float | None = None
    resolution: float | None = None
    noise: float | None = None
    floor: float | None = None
    ceiling: float | None = None
    low_hz: float | None = None
    high_hz: float | None = None
    certificate: str = ""
    calibrated_on: date | None = None
    due_on: date | None = None
    description: str = ""
    axes: int | None = None
    used_on: tuple[date, ...] = ()
    maker: str = ""
    serial: str = ""
    laboratory: str = ""
    out_of_force_on: tuple[date, ...] = ()  # days of use on which the certificate did not hold


@dataclass(frozen=True)
class GroundCheckFacts:
    """One check of a ground point."""

    day: date
    point: str
    other_point: str = ""
    voltage_v: float | None = None
    outlet_test: str = ""
    note: str = ""


@dataclass(frozen=True)
class ReadingFacts:
    """The display as it was written down, in the unit of the display."""

    day: date
    x: str = ""
    y: str = ""
    z: str = ""
    total: str = ""
    unit: str = ""
    instrument: str = ""
    ground_point: str = ""
    taken_at: str = ""
    load: str = ""
    note: str = ""
    height_m: float | None = None
    body_distance_m: float | None = None
    surface_distance_m: float | None = None

    @property
    def cells(self) -> Mapping[str, str]:
        return {"x": self.x, "y": self.y, "z": self.z, "total": self.total}


@dataclass(frozen=True)
class LoggedReading:
    """A reading as the log of its visit has it, whether it counts or not."""

    visit: str
    position: int
    room: str
    spot: str
    measurand: str
    reading: ReadingFacts
    off: str = ""  # what was switched off
    is_trial: bool = False
    result: str = ""  # of a trial: value and unit
    aside: str = ""  # why it does not count
    decides: bool = False  # the value of its spot rests on it
    is_certified: bool = True  # on an instrument with a certificate in force on the day


@dataclass(frozen=True)
class WordFacts:
    """The assessor's own words; remarks are by room and spot."""

    summary: tuple[str, ...] = ()  # paragraphs
    recommendations: tuple[str, ...] = ()
    author: str = ""  # who holds the recommendations
    remarks: Mapping[tuple[str, str], str] = field(default_factory=dict)


@dataclass(frozen=True)
class SketchFacts:
    """A picture of where was measured: its name, and a JPEG."""

    name: str
    picture: bytes


@dataclass(frozen=True)
class SetAsideFacts:
    """A reading that does not count, and why."""

    day: date
    room: str
    spot: str
    measurand: str
    shown: str
    reason: str


@dataclass(frozen=True)
class FindingFacts:
    """A spot's value at one visit."""

    room: str
    spot: str
    use: str
    measurand: str
    unit: str
    value: float
    lower: float
    qualifier: str
    u: float | None
    band: int
    flags: tuple[str, ...] = ()
    limit: float | None = None
    ground_point: str = ""
    instrument: str = ""
    reading: ReadingFacts | None = None
    is_certified: bool = True


SpotKey = tuple[str, str, str]
"""Room, spot and measurand code."""
