"""Numbers that lie in the file of a letter, so that it can be recomputed: plain data."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any, Literal

Relationship = Literal["Data", "Source"]


@dataclass(frozen=True)
class Enclosure:
    """A text file inside the PDF; `relationship` says what it is to the letter (ISO 32000-2)."""

    name: str
    relationship: Relationship
    description: str
    text: str


def enclosed(enclosures: Sequence[Enclosure]) -> dict[str, Any]:
    """The part of a letter's content that holds its enclosures."""
    return {"enclosures": [asdict(enclosure) for enclosure in enclosures]}


def enclosures_of(content: Mapping[str, Any]) -> tuple[Enclosure, ...]:
    """The enclosures of a frozen content; older ones have none."""
    return tuple(Enclosure(**data) for data in content.get("enclosures", ()))
