"""Numbers that lie in the file of a letter, so that it can be recomputed: plain data."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any, Literal

from django.utils.translation import gettext as _
from django.utils.translation import override

from consult.letters.formats import listing

Relationship = Literal["Data", "Source"]


@dataclass(frozen=True)
class Enclosure:
    """A text file inside the PDF; `relationship` says what it is to the letter (ISO 32000-2)."""

    name: str
    relationship: Relationship
    description: str
    text: str


def enclosed(enclosures: Sequence[Enclosure], language: str) -> dict[str, Any]:
    """The part of a letter's content that holds its enclosures, and says so."""
    with override(language):
        names = [f"{enclosure.name} ({enclosure.description})" for enclosure in enclosures]
        sentence = _("The PDF file of this letter carries: %(files)s.") % {"files": listing(names)}
    return {
        "enclosures": [asdict(enclosure) for enclosure in enclosures],
        "enclosed": sentence if names else "",
    }


def enclosures_of(content: Mapping[str, Any]) -> tuple[Enclosure, ...]:
    """The enclosures of a frozen content; older ones have none."""
    return tuple(Enclosure(**data) for data in content.get("enclosures", ()))
