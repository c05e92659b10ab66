"""How a text becomes words that can be found however they are typed."""

import re

from consult.models.folding import MOST_WORDS, folded

LONGEST = 40
_PARTS = re.compile(r"[^\W_]+")
_SPLIT = re.compile(r"[\s,;]+")
_ONE_FORM = re.compile(r"[\w./-]+")


def words_of(*texts: str) -> set[str]:
    """The words of `texts`, whole and, for `EB-2026-0012`, by their parts too."""
    words: set[str] = set()
    for text in texts:
        for word in _SPLIT.split(folded(text)):
            parts = _PARTS.findall(word)
            if parts:
                words.update(part[:LONGEST] for part in parts)
                words.add(word.strip(".,:()\"'")[:LONGEST])
    words.discard("")
    return words


def query_words(query: str) -> list[str]:
    """What somebody typed, folded; at most eight words, the longest first.

    A word with a sign that has more than one form, such as an apostrophe, is asked for by its
    parts. A sign alone, as in `Ida & Jon`, says nothing, unless nothing else was typed.
    """
    typed: set[str] = set()
    signs: set[str] = set()
    for word in _SPLIT.split(folded(query)):
        bare = word.strip(".,:()\"'")[:LONGEST]
        parts = _PARTS.findall(bare)
        if parts:
            typed.update([bare] if _ONE_FORM.fullmatch(bare) else parts)
        else:
            signs.add(bare)
    words = typed or signs - {""}
    return sorted(words, key=lambda word: (-len(word), word))[:MOST_WORDS]
