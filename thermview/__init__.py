"""Thermal video for people who repair boards: which part dissipates, how much, how sure."""

__version__ = "0.1.0"
