"""board."""
