"""The words of the survey report, from plain facts of a visit."""
