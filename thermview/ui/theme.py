"""Design tokens, in one place: colours of the dark and the light theme, sizes, the style sheet.

Every text colour reaches a contrast of 4.5 : 1 on every ground that it is used on (WCAG 2.2,
success criterion 1.4.3, level AA), every line that carries meaning 3 : 1 (1.4.11); a test says so.
"""

from __future__ import annotations

from dataclasses import dataclass
from string import Template

from thermview.errors import UsageError
from thermview.paths import resource


@dataclass(frozen=True, slots=True)
class Theme:
    """Tokens of one theme: colours as ``#rrggbb``, lengths in px at 100 % scaling.

    Attributes
    ----------
    window, panel, raised, sunken, field : str
        Grounds: behind everything, of a panel, of a control on a panel, around the picture, of a
        field to write in.
    text, text_dim : str
        What must be read, and what may be.
    accent, on_accent : str
        The one colour of what is chosen or live, and text on it.
    warning, error, good : str
        Text colours, never without words or a sign beside them.
    grid : str
        Hairlines of charts and borders that only please the eye.
    line : str
        Borders and axes that carry meaning.
    select : str
        Ground of the selected row.
    playhead : str
        The line at the shown moment.
    supply_voltage, supply_current : str
        The supply's two curves.
    regions : tuple of str
        Colours of regions and their curves, in order; they repeat with another dash pattern.
    """

    name: str
    window: str
    panel: str
    raised: str
    sunken: str
    field: str
    text: str
    text_dim: str
    accent: str
    on_accent: str
    warning: str
    error: str
    good: str
    grid: str
    line: str
    select: str
    playhead: str
    supply_voltage: str
    supply_current: str
    regions: tuple[str, ...]
    small: int = 12
    body: int = 14
    large: int = 20
    huge: int = 32
    space: int = 8
    radius: int = 4

    def region_colour(self, position: int) -> str:
        """Return the colour of the region at `position` in the document (any integer)."""
        return self.regions[position % len(self.regions)]


DARK = Theme(
    name="dark",
    window="#15181b",
    panel="#1c2125",
    raised="#272d33",
    sunken="#0e1012",
    field="#111416",
    text="#e8ebed",
    text_dim="#a7b1b9",
    accent="#6fc3cb",
    on_accent="#08282b",
    warning="#e9b95c",
    error="#f59a92",
    good="#8fce9b",
    grid="#333b42",
    line="#7b868f",
    select="#21414a",
    playhead="#f4f6f7",
    supply_voltage="#8fb8f0",
    supply_current="#e9b95c",
    regions=(
        "#6fc3cb",
        "#f2a66b",
        "#b9a2f0",
        "#a5d36f",
        "#f093b8",
        "#e2d27a",
        "#7fb0f5",
        "#cfd5d9",
    ),
)

LIGHT = Theme(
    name="light",
    window="#e4e7e9",
    panel="#f3f5f6",
    raised="#ffffff",
    sunken="#d3d8db",
    field="#ffffff",
    text="#1a2025",
    text_dim="#4a555d",
    accent="#0a626c",
    on_accent="#ffffff",
    warning="#7a4b00",
    error="#a3231c",
    good="#1f6030",
    grid="#c6ccd0",
    line="#6c7780",
    select="#c5e1e4",
    playhead="#1a2025",
    supply_voltage="#1f55a8",
    supply_current="#7a4b00",
    regions=(
        "#0a626c",
        "#9c4a0c",
        "#5b3fb0",
        "#3f6512",
        "#a02560",
        "#6b5a00",
        "#1c55ab",
        "#3f4850",
    ),
)

THEMES = {theme.name: theme for theme in (DARK, LIGHT)}
_in_use = [DARK]


def tokens() -> Theme:
    """Return the theme in use."""
    return _in_use[0]


def set_theme(name: str) -> Theme:
    """Choose the theme by its name, ``dark`` or ``light``.

    Raises
    ------
    UsageError
        No theme has this name.
    """
    try:
        _in_use[0] = THEMES[name]
    except KeyError:
        raise UsageError(f"{name!r} is not a theme; give {' or '.join(THEMES)}") from None
    return _in_use[0]


def relative_luminance(colour: str) -> float:
    """Return the relative luminance, 0 to 1, of ``#rrggbb`` (WCAG 2.2's definition)."""
    channels = [int(colour[i : i + 2], 16) / 255.0 for i in (1, 3, 5)]
    r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(one: str, other: str) -> float:
    """Return the contrast ratio, 1 to 21, of two colours (WCAG 2.2's definition)."""
    dark, light = sorted((relative_luminance(one), relative_luminance(other)))
    return (light + 0.05) / (dark + 0.05)


_SHEET = Template("""
* { font-size: ${body}px; }
QMainWindow { background: $window; color: $text; }
QDialog { background: $panel; color: $text; }
QWidget { color: $text; selection-background-color: $select; selection-color: $text; }
QToolTip { background: $raised; color: $text; border: 1px solid $line; padding: 4px; }
QFrame[role="panel"], QWidget[role="panel"] { background: $panel; border-radius: ${radius}px; }
QLabel { background: transparent; }
QLabel[role="dim"] { color: $text_dim; }
QLabel[role="small"] { color: $text_dim; font-size: ${small}px; }
QLabel[role="heading"] { color: $text_dim; font-size: ${small}px; font-weight: 600; }
QLabel[role="title"] { font-size: ${large}px; font-weight: 600; }
QLabel[role="large"] { font-size: ${large}px; }
QLabel[role="huge"] { font-size: ${huge}px; font-weight: 600; }
QLabel[tone="warning"] { color: $warning; }
QLabel[tone="error"] { color: $error; }
QLabel[tone="good"] { color: $good; }
QLabel[tone="accent"] { color: $accent; }
QPushButton[tone="rec"] { border-color: $error; color: $error; font-weight: 600; }
QScrollArea, QWidget[role="page"] { background: $window; }
QDialog QScrollArea, QDialog QWidget[role="page"] { background: $panel; }
QDialog QAbstractItemView { background: $field; }
QFrame[role="banner"] { background: $raised; border-left: 4px solid $warning; }
QPushButton, QToolButton {
  background: $raised; border: 1px solid $grid; border-radius: ${radius}px;
  padding: 4px 10px; min-height: 22px; }
QToolButton { padding: 4px 6px; }
QPushButton:hover, QToolButton:hover { border-color: $line; }
QPushButton:pressed, QToolButton:pressed { background: $select; }
QPushButton:focus, QToolButton:focus { border-color: $accent; }
QPushButton:checked, QToolButton:checked { background: $select; border-color: $accent; }
QPushButton:disabled, QToolButton:disabled { color: $text_dim; background: $panel; }
QPushButton[role="primary"] { background: $accent; color: $on_accent; border-color: $accent; }
QPushButton[role="primary"]:disabled { background: $panel; color: $text_dim; border-color: $grid; }
QPushButton[role="slim"] { padding: 0 10px; min-height: 22px; }
QPushButton[role="step"] {
  background: transparent; border: none; border-bottom: 2px solid transparent; border-radius: 0;
  padding: 6px 12px; color: $text_dim; }
QPushButton[role="step"]:hover { color: $text; }
QPushButton[role="step"]:focus { color: $text; border-bottom-color: $line; }
QPushButton[role="step"]:checked { color: $text; border-bottom-color: $accent; }
QToolButton[role="flat"] { background: transparent; border-color: transparent;
  padding: 4px 5px; min-height: 18px; }
QToolButton[role="flat"]:hover { background: $raised; }
QToolButton[role="flat"]:focus { border-color: $accent; }
QToolButton[role="flat"]:checked { background: $select; }
QToolButton::menu-indicator { image: none; }
QPushButton::menu-indicator { image: url("$signs/down-$name.svg"); width: 14px; height: 14px;
  subcontrol-position: right center; subcontrol-origin: padding; right: 4px; }
QLineEdit, QSpinBox, QDoubleSpinBox, QComboBox, QKeySequenceEdit, QPlainTextEdit {
  background: $field; border: 1px solid $line; border-radius: ${radius}px;
  padding: 3px 6px; min-height: 22px; }
QLineEdit:focus, QSpinBox:focus, QDoubleSpinBox:focus, QComboBox:focus, QPlainTextEdit:focus {
  border-color: $accent; }
QLineEdit:disabled, QSpinBox:disabled, QDoubleSpinBox:disabled, QComboBox:disabled {
  color: $text_dim; border-color: $grid; }
QComboBox::drop-down { border: none; width: 22px; }
QComboBox::down-arrow { image: url("$signs/down-$name.svg"); width: 14px; height: 14px; }
QAbstractSpinBox::up-button, QAbstractSpinBox::down-button { border: none; width: 20px;
  background: transparent; }
QAbstractSpinBox::up-arrow { image: url("$signs/up-$name.svg"); width: 14px; height: 14px; }
QAbstractSpinBox::down-arrow { image: url("$signs/down-$name.svg"); width: 14px; height: 14px; }
QComboBox QAbstractItemView { background: $raised; border: 1px solid $line; }
QAbstractItemView { background: $panel; alternate-background-color: $panel; border: none;
  outline: none; }
QAbstractItemView::item { padding: 3px 4px; }
QAbstractItemView::item:hover { background: $raised; }
QAbstractItemView::item:selected { background: $select; color: $text; }
QHeaderView { background: $panel; }
QHeaderView::section { background: $panel; color: $text_dim; border: none; padding: 3px 4px;
  font-size: ${small}px; }
QTableCornerButton::section { background: $panel; border: none; }
QMenu { background: $raised; border: 1px solid $line; padding: 4px; }
QMenu::item { padding: 5px 24px 5px 12px; }
QMenu::item:selected { background: $select; }
QMenu::item:disabled { color: $text_dim; }
QMenu::separator { height: 1px; background: $grid; margin: 4px 8px; }
QSplitter::handle { background: $window; }
QSplitter::handle:hover { background: $grid; }
QScrollBar:vertical { background: transparent; width: 12px; margin: 0; }
QScrollBar:horizontal { background: transparent; height: 12px; margin: 0; }
QScrollBar::handle { background: $line; border-radius: 4px; min-height: 24px; min-width: 24px;
  margin: 2px; }
QScrollBar::add-line, QScrollBar::sub-line { width: 0; height: 0; }
QScrollBar::add-page, QScrollBar::sub-page { background: transparent; }
QScrollArea { border: none; }
QProgressBar { background: $sunken; border: 1px solid $grid; border-radius: ${radius}px;
  text-align: center; min-height: 18px; }
QProgressBar::chunk { background: $select; }
QTabBar::tab { background: transparent; color: $text_dim; padding: 6px 12px; border: none;
  border-bottom: 2px solid transparent; }
QTabBar::tab:selected { color: $text; border-bottom-color: $accent; }
QTabWidget::pane { border: none; }
QCheckBox, QRadioButton { spacing: 6px; background: transparent; }
QCheckBox::indicator { width: 14px; height: 14px; border: 1px solid $line; border-radius: 3px;
  background: $field; }
QCheckBox::indicator:checked { background: $accent; border-color: $accent;
  image: url("$signs/check-$name.svg"); }
QCheckBox::indicator:focus { border-color: $text; }
QStatusBar { background: $window; color: $text; }
QStatusBar::item { border: none; }
""")


def stylesheet(theme: Theme) -> str:
    """Return the application's style sheet in `theme`."""
    values = {field: getattr(theme, field) for field in theme.__slots__}
    return _SHEET.substitute(values, signs=resource("window").as_posix())
