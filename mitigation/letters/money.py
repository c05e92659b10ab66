"""Prices as a reader writes them."""

from decimal import Decimal

from django.utils.translation import get_language
from django.utils.translation import gettext as _

from consult.letters.formats import Formats


def money_words(cost: float | Decimal | None, formats: Formats | None = None) -> str:
    """With two decimals; in words where nobody named a price."""
    if cost is None:
        return _("price on request")
    formats = formats or Formats(get_language() or "en")
    return formats.number(f"{cost:.2f}")
