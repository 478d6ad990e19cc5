"""The commands: the same session and analysis as the window, without it."""
