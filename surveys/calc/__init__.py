"""What was measured, as pure numbers: no Django, no files, no clock."""
