"""What stands before a value that is only a bound."""

from enum import IntEnum


class Qualifier(IntEnum):
    """How a value binds the truth; `QUALIFIER_WORDS` turns a code into its sign."""

    NONE = 0
    BELOW = 1
    """Nothing was detected: the truth is under the value."""
    AT_MOST = 2
    """Part of it was not detected: the truth is not over the value."""
    ABOVE = 3
    """Out of the instrument's range: the truth is over the value."""


QUALIFIER_WORDS = ("", "<", "\u2264", ">")


def qualifier_code(word: str) -> Qualifier:
    """The code of a sign, the inverse of `QUALIFIER_WORDS`; ValueError for any other word."""
    return Qualifier(QUALIFIER_WORDS.index(word))
