"""What people type about visits and registers."""
