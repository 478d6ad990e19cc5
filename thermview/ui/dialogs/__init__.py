"""Dialogs: opening, keys, triggers, tables."""
