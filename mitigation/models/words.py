"""How a text becomes words that can be found however they are typed."""

import re
import unicodedata

LONGEST = 40
_PARTS = re.compile(r"[^\W_]+")
_SPLIT = re.compile(r"[\s,;]+")
_SPELT = str.maketrans({"ß": "ss", "ø": "o", "ł": "l", "æ": "ae", "œ": "oe", "đ": "d"})


def folded(text: str) -> str:
    """Without case and accents: `Möwe` and `mowe` are one word."""
    plain = unicodedata.normalize("NFKD", text.casefold().translate(_SPELT))
    return "".join(char for char in plain if not unicodedata.combining(char))


def words_of(*texts: str) -> set[str]:
    """The words of `texts`, whole and, for `EB-2026-0012`, by their parts too."""
    found: set[str] = set()
    for text in texts:
        for word in _SPLIT.split(folded(text)):
            parts = _PARTS.findall(word)
            if parts:
                found.update(part[:LONGEST] for part in parts)
                found.add(word.strip(".,:()\"'")[:LONGEST])
    found.discard("")
    return found


def query_words(query: str) -> list[str]:
    """What somebody typed, folded; at most eight words, the longest first."""
    typed = {word.strip(".,:()\"'")[:LONGEST] for word in _SPLIT.split(folded(query))} - {""}
    return sorted(typed, key=lambda word: (-len(word), word))[:8]
