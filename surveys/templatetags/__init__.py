"""Filters of the pages of surveys."""
