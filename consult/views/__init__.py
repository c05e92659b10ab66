"""Pages of the practice itself."""
