"""What people type, checked before a service writes it."""
