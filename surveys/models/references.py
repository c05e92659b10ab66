"""References of cases: what stands in addresses, on letters and in names of files."""

from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

LONGEST_REFERENCE = 40
FORBIDDEN = "/\\?#%"  # each would end or change the part of an address in which it stands


def validate_reference(reference: str) -> None:
    """Refuse a reference that could not stand as one part of an address."""
    if (
        not reference.isprintable()
        or reference != reference.strip()
        or reference in (".", "..")
        or any(sign in reference for sign in FORBIDDEN)
    ):
        raise ValidationError(_("One line without / \\ ? # %, and not a dot alone."))
