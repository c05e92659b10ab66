"""What was achieved, as pure numbers: no Django, no files, no clock."""
