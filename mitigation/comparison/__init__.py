"""The comparison of two visits: from rows to the outcome, by the rules of calc."""

from mitigation.comparison.compare import RULES, Comparison, Row, compare, visits_that_count

__all__ = ["RULES", "Comparison", "Row", "compare", "visits_that_count"]
