"""Passwords that are guessed first: common ones in disguise, and words of the practice."""

import re
import unicodedata
from typing import Any

from django.contrib.auth.password_validation import CommonPasswordValidator
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from consult.models import User, current_practice

# Letters that are written as signs and digits; "1" and "!" stand for two of them.
SIGNS = str.maketrans("@4830$57", "aabeosst")
OF_THE_TRADE = ("ebbmark",)
SHORTEST_WORD, SHORTEST_REST = 4, 8


class GuessableValidator(CommonPasswordValidator):
    """Refuses a common password, or words of the practice and the person, behind any decoration."""

    def validate(self, password: str, user: Any = None) -> None:
        for base in _bases(password):
            rest = base
            for word in _own_words(user):
                rest = rest.replace(word, "")
            own = rest != base and len(rest) < SHORTEST_REST
            if own or base in self.passwords or _repeated(base) in self.passwords:
                raise ValidationError(
                    _(
                        "This is easily guessed: a common password or a name, however it is "
                        "decorated. Take several words that have nothing to do with each other."
                    ),
                    code="password_guessable",
                )

    def get_help_text(self) -> str:
        return _(
            "No common password and no name of the practice or yours, with digits and signs "
            "added or put in the place of letters either."
        )


def _bases(password: str) -> set[str]:
    """What is left of a password without decoration: its letters, signs read as letters."""
    plain = unicodedata.normalize("NFKC", password).casefold()
    trimmed = re.sub(r"^[\W\d_]+|[\W\d_]+$", "", plain)
    bases = {plain, trimmed}
    for text in (plain, trimmed):
        bases.add(_letters(text))
        for letter in "il":
            letters = text.replace("1", letter).replace("!", letter).translate(SIGNS)
            bases.add(_letters(letters))
    return bases - {""}


def _letters(text: str) -> str:
    return re.sub(r"[\W\d_]", "", text)


def _repeated(base: str) -> str:
    """The part that a text repeats throughout; the text itself where it repeats none."""
    match = re.fullmatch(r"(.+?)\1+", base)
    return match[1] if match else base


def _own_words(user: Any) -> list[str]:
    """Words of the practice and the person, the longest first."""
    texts = [*OF_THE_TRADE, current_practice().name]
    if isinstance(user, User):
        texts += [user.name, user.email.partition("@")[0]]
    words = {word for text in texts for word in _words(text) if len(word) >= SHORTEST_WORD}
    return sorted(words, key=lambda word: (-len(word), word))


def _words(text: str) -> tuple[str, ...]:
    return tuple(re.findall(r"[^\W\d_]+", unicodedata.normalize("NFKC", text).casefold()))
