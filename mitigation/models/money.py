"""Amounts of money, as they are kept: in whole cents."""

from decimal import Decimal

CENT = Decimal("0.01")


def in_cents(amount: float | None) -> Decimal | None:
    """An amount as it was written, to the cent; None stays None."""
    return None if amount is None else Decimal(repr(amount)).quantize(CENT)
