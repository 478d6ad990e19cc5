"""regions."""
