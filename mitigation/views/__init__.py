"""Pages of cases."""
