"""The kinds of letters: each is one entry, registered by the app that knows what it is about."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils.functional import Promise

Words = str | Promise
# Makes the content for a number and a moment, and changes nothing: it may be called again.
Content = Callable[[str, datetime], dict[str, Any]]


@dataclass(frozen=True)
class Draft:
    """A letter that only wants its number; `keep` adds the rows that point to it once issued."""

    content: Content
    rules: Sequence[str]
    keep: Callable[[Any], None]
    # Where it does not go to the client: the firm that it goes to, and its language.
    firm: Any = None
    language: str = ""


@dataclass(frozen=True)
class LetterKind:
    """What the practice knows of one kind of letter.

    The app that registers a kind hands its own basis to `needs` and `draft`: what there is to
    write about.
    """

    code: str  # as kept in the row and in addresses
    label: Words
    issue_label: Words
    template: str
    # The roles that read such a letter, beside the office; a client only once it is ready.
    readers: frozenset[str]
    # Why it cannot be issued on this basis; empty when nothing is missing.
    needs: Callable[[Any], str]
    # Basis and a maker of letterheads in, a draft out.
    draft: Callable[[Any, Any], Draft]
    # Codes of the letters that one of this kind takes the place of.
    corrects: frozenset[str]
    # The name of the page at which who holds its link answers it; empty for a letter to read.
    answered_at: str = ""
    # False where it comes with what it is about, and no page offers it for itself.
    is_issued_by_hand: bool = True


_kinds: dict[str, LetterKind] = {}


def register(kind: LetterKind) -> None:
    """Make a kind known; its code is taken once, and for good."""
    if kind.code in _kinds:
        raise ValueError(f"there is a kind of letter {kind.code!r} already")
    _kinds[kind.code] = kind


def registered() -> list[LetterKind]:
    """All kinds, in the order in which a case comes to them."""
    return list(_kinds.values())


def letter_kind(code: str) -> LetterKind | None:
    return _kinds.get(code)


def read_by(role: str) -> list[str]:
    """Codes of the letters that people of `role` may read."""
    return [kind.code for kind in _kinds.values() if role in kind.readers]


def correcting(code: str) -> LetterKind | None:
    """The kind that takes the place of letters of the kind `code`; None where none does."""
    return next((kind for kind in _kinds.values() if code in kind.corrects), None)
