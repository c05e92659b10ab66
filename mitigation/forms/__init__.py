"""What people type and upload on the pages of cases, checked before a service writes it."""
