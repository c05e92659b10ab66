"""Numbers that every app needs: no Django, no files, no clock."""
