"""radiometry."""
