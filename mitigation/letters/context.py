"""Everything beside the comparison that an outcome letter prints: plain values."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from consult.letters.content import Head
from mitigation.letters.outcome_works import WorksFacts
from surveys.letters.facts import (
    GroundCheckFacts,
    GuidelineFacts,
    InstrumentFacts,
    LoggedReading,
    ReadingFacts,
    SetAsideFacts,
    SketchFacts,
    SpotKey,
    VisitFacts,
    WordFacts,
)


@dataclass(frozen=True)
class SpotDetail:
    """What the comparison does not carry: the use of a spot, and where its two values came from."""

    use: str = "other"
    before_instrument: str = ""
    after_instrument: str = ""
    before_ground_point: str = ""
    after_ground_point: str = ""
    before_reading: ReadingFacts | None = None
    after_reading: ReadingFacts | None = None
    guard: float | None = None
    before_is_certified: bool = True
    after_is_certified: bool = True


@dataclass(frozen=True)
class OutcomeContext:
    """Everything beside the comparison that an outcome letter prints."""

    head: Head
    guideline: GuidelineFacts
    placement_percent: float
    visits: tuple[VisitFacts, ...]
    instruments: tuple[InstrumentFacts, ...] = ()
    ground_checks: tuple[GroundCheckFacts, ...] = ()
    set_aside: tuple[SetAsideFacts, ...] = ()
    details: Mapping[SpotKey, SpotDetail] = field(default_factory=dict)
    open_items: tuple[str, ...] = ()
    work_done: tuple[str, ...] = ()
    works: WorksFacts = field(default_factory=WorksFacts)
    frequency_hz: float | None = None
    safety: tuple[str, ...] = ()
    past_dangers: tuple[str, ...] = ()  # met at the baseline, in order at the follow-up
    log: tuple[LoggedReading, ...] = ()
    words: WordFacts = field(default_factory=WordFacts)
    sketches: tuple[SketchFacts, ...] = ()

    def uses(self) -> dict[SpotKey, str]:
        """What each place is used for."""
        return {key: detail.use for key, detail in self.details.items()}
