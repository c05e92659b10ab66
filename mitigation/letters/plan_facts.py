"""What an offered plan tells: plain values, gathered once when it is offered."""

from dataclasses import dataclass
from datetime import date
from typing import Any

from surveys.letters.facts import GuidelineFacts


@dataclass(frozen=True)
class Reason:
    """How much of a field comes from what an item acts on, at the place where that is most."""

    room: str
    spot: str
    measurand: str
    share: float  # 0 to 1; below zero it cancels others


@dataclass(frozen=True)
class ItemFacts:
    """One item as a client and an electrician read it."""

    name: str
    kind: str  # its English name
    sources: tuple[str, ...]  # circuits and appliances, with what they feed
    room: str
    spots: tuple[str, ...]
    done_by: str
    cost: float | None
    reason: Reason | None = None


@dataclass(frozen=True)
class OptionFacts:
    """One set of items with what it should bring, row by row in the order of places.

    A row is that of the plan's JSON, with the use of its spot, the sign of its finding and whether
    it may rise.
    """

    letter: str
    items: tuple[ItemFacts, ...]
    rows: tuple[dict[str, Any], ...]

    @property
    def cost(self) -> float:
        """The sum of what has a price."""
        return sum(item.cost or 0.0 for item in self.items)


@dataclass(frozen=True)
class OfferFacts:
    """A version of a plan, ready to be put into words."""

    number: int
    options: tuple[OptionFacts, ...]
    guideline: GuidelineFacts
    target_band: int
    currency: str
    tax_line: str
    valid_until: date
    may_be_parted: bool
    country: str
    flux_unit: str
    rules: tuple[str, ...]
    wanted: float
    trials: tuple[str, ...] = ()  # what was tried, a line each
    words: str = ""  # of who offers it
