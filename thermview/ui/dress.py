"""Gives the application the look of a theme."""

from __future__ import annotations

from PySide6.QtGui import QColor, QFont, QPalette
from PySide6.QtWidgets import QApplication

from thermview.errors import ThermviewError
from thermview.ui.theme import Theme, set_theme, stylesheet, tokens


def dress(application: QApplication, theme: str) -> None:
    """Give the application its style; a theme that is not known counts as the dark one."""
    try:
        set_theme(theme)
    except ThermviewError:
        set_theme("dark")
    application.setStyle("Fusion")
    application.setPalette(palette(tokens()))
    font = QFont(application.font())
    font.setPixelSize(tokens().body)
    application.setFont(font)
    application.setStyleSheet(stylesheet(tokens()))


def palette(theme: Theme) -> QPalette:
    """Return the colours of what the style sheet leaves to Qt's own style."""
    roles = {
        QPalette.ColorRole.Window: theme.window,
        QPalette.ColorRole.WindowText: theme.text,
        QPalette.ColorRole.Base: theme.field,
        QPalette.ColorRole.AlternateBase: theme.panel,
        QPalette.ColorRole.Text: theme.text,
        QPalette.ColorRole.PlaceholderText: theme.text_dim,
        QPalette.ColorRole.Button: theme.raised,
        QPalette.ColorRole.ButtonText: theme.text,
        QPalette.ColorRole.Highlight: theme.select,
        QPalette.ColorRole.HighlightedText: theme.text,
        QPalette.ColorRole.ToolTipBase: theme.raised,
        QPalette.ColorRole.ToolTipText: theme.text,
        QPalette.ColorRole.Link: theme.accent,
        QPalette.ColorRole.Accent: theme.accent,
    }
    made = QPalette(QColor(theme.raised), QColor(theme.window))
    for role, colour in roles.items():
        made.setColor(role, QColor(colour))
    for role in (QPalette.ColorRole.Text, QPalette.ColorRole.ButtonText):
        made.setColor(QPalette.ColorGroup.Disabled, role, QColor(theme.text_dim))
    return made
