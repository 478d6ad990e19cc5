"""The panels around the picture."""
