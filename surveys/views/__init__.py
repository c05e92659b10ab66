"""Pages of visits, readings and registers."""
