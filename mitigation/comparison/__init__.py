"""The comparison of a case's visits: from rows to the outcome, by the rules of calc."""

from mitigation.comparison.compare import (
    RULES,
    Comparison,
    Row,
    compare,
    latest_visit,
    sealed_among,
    sealed_visits,
)

__all__ = ["RULES", "Comparison", "Row", "compare", "latest_visit", "sealed_among", "sealed_visits"]
