"""The words of the outcome letter, from the comparison and plain facts of its visits."""
