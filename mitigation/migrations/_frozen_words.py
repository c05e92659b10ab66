"""How a text became words of the search when these migrations were written; never changed.

The live rule is in `mitigation.models.words`.
"""

import re
import unicodedata

LONGEST = 40
_PARTS = re.compile(r"[^\W_]+")
_SPLIT = re.compile(r"[\s,;]+")
_SPELT = str.maketrans({"ß": "ss", "ø": "o", "ł": "l", "æ": "ae", "œ": "oe", "đ": "d"})


def folded(text):
    decomposed = unicodedata.normalize("NFKD", text.casefold().translate(_SPELT))
    return "".join(char for char in decomposed if not unicodedata.combining(char))


def words_of(*texts):
    words = set()
    for text in texts:
        for word in _SPLIT.split(folded(text)):
            parts = _PARTS.findall(word)
            if parts:
                words.update(part[:LONGEST] for part in parts)
                words.add(word.strip(".,:()\"'")[:LONGEST])
    words.discard("")
    return words
