"""Numbers as a person would type them."""

from collections.abc import Mapping
from typing import Any


def plain_numbers(initial: Mapping[str, Any]) -> dict[str, Any]:
    """Whole numbers without a point: 230 and not 230.0."""
    return {
        name: int(value) if isinstance(value, float) and value.is_integer() else value
        for name, value in initial.items()
    }
