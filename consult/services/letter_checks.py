"""Whether a letter that somebody holds is one that was issued: by its file, or number and code.

Nothing else is told: no name, no kind, no case.
"""

import secrets
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Exists, OuterRef
from django.utils import timezone

from consult.models import Letter

SYMBOLS = "34679ACDEFGHJKMNPQRTVWXY"
"""Without those that are mistaken for each other in print: 0 O, 1 I L, 2 Z, 5 S, 8 B, U."""
GROUPS, GROUP_LENGTH = 3, 5  # 24^15 codes, 68 bits


@dataclass(frozen=True)
class IssuedLetter:
    """What whoever holds a letter learns of it."""

    number: str
    issued_on: date
    sha256: str
    is_corrected: bool


def new_code() -> str:
    """A code that nobody can guess, in groups."""
    groups = (
        "".join(secrets.choice(SYMBOLS) for _at in range(GROUP_LENGTH)) for _n in range(GROUPS)
    )
    return "-".join(groups)


_NOBODYS = new_code()


def issued_letter_of_code(*, number: str, code: str) -> IssuedLetter | None:
    """The letter of this number, if the code is its own.

    An unknown number costs the same work as a wrong code.
    """
    row = _issued().filter(number=number.strip()).first()
    expected = (row and row["check_code"]) or _NOBODYS
    is_its_own = secrets.compare_digest(_symbols(expected), _symbols(code))
    return _as_told(row) if row and row["check_code"] and is_its_own else None


def issued_letter_of_file(*, sha256: str) -> IssuedLetter | None:
    """The letter whose file has this digest, also after an erasure took the file."""
    row = _issued().filter(sha256=sha256).first()
    return _as_told(row) if row else None


def _issued() -> Any:
    """Letters that have, or had, their file."""
    corrections = Letter.objects.filter(corrects=OuterRef("pk"))
    states = [Letter.State.READY, Letter.State.ERASED]
    return (
        Letter.objects.filter(state__in=states)
        .exclude(sha256="")
        .annotate(is_corrected=Exists(corrections))
        .order_by()
        .values("number", "issued_at", "sha256", "check_code", "is_corrected")
    )


def _as_told(row: dict[str, Any]) -> IssuedLetter:
    return IssuedLetter(
        number=row["number"],
        issued_on=timezone.localdate(row["issued_at"]),
        sha256=row["sha256"],
        is_corrected=row["is_corrected"],
    )


def _symbols(code: str) -> bytes:
    """A code as it is compared: capitals, without what people put between groups."""
    return "".join(sign for sign in code.upper() if sign.isalnum()).encode()
