"""The picture's widget: tools at its left edge, the canvas, small boxes over it."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from PySide6.QtCore import QEvent, QPoint, Qt
from PySide6.QtGui import QAction, QActionGroup, QContextMenuEvent, QImage, QKeyEvent, QKeySequence
from PySide6.QtWidgets import QHBoxLayout, QLineEdit, QMenu, QWidget

from thermview.frames import Frame
from thermview.ui.desk import Desk
from thermview.ui.picture.canvas import Canvas
from thermview.ui.picture.menu import fill_picture_menu
from thermview.ui.picture.ruler import RulerBox
from thermview.ui.picture.still import render_still
from thermview.ui.picture.tool_column import ToolColumn
from thermview.ui.picture.tools import ToolKind
from thermview.ui.widgets import icon, named

_TOOLS = {
    ToolKind.SELECT: ("1", "cursor-default-outline", "select, move and reshape regions"),
    ToolKind.SPOT: ("2", "crosshairs", "measure one pixel"),
    ToolKind.LINE: ("3", "vector-line", "measure along a line"),
    ToolKind.RECTANGLE: ("4", "rectangle-outline", "measure a rectangle"),
    ToolKind.ELLIPSE: ("5", "ellipse-outline", "measure an ellipse"),
    ToolKind.POLYGON: ("6", "vector-polygon", "measure any outline: click its corners"),
    ToolKind.RULER: ("7", "ruler", "measure a length in px or mm"),
}
_FIT_KEY, _FOCUS_KEY, _MARKERS_KEY, _PARTS_KEY, _SMOOTH_KEY = "0", "K", "H", "A", "J"
_SHINY_KEY, _AVERAGE_KEY, _FOLLOW_KEY = "E", "U", "8"
_IN_MENU = ("smooth", "markers")


class _NameEdit(QLineEdit):
    """A line that Esc puts away."""

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Put the line away without taking the name."""
        if event.key() == Qt.Key.Key_Escape:
            self.hide()
        else:
            super().keyPressEvent(event)


class PictureView(QWidget):
    """The picture with its regions and tools; all state that others need is the desk's.

    Attributes
    ----------
    canvas : Canvas
        The painted surface.
    actions_by_name : dict of str to QAction
        ``tool_select`` … ``tool_ruler``, ``fit``, ``focus``, ``markers``, ``parts``, ``smooth``.
    """

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("pictureView")
        self.desk = desk
        self.canvas = Canvas(desk, self)
        self.ruler = RulerBox(desk.display, self.canvas)
        self.actions_by_name: dict[str, QAction] = {}
        self._renamed = ""
        self._name_edit = named(_NameEdit(self.canvas), "renameEdit")
        self._name_edit.hide()
        self._make_actions()
        layout = QHBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(4)
        layout.addWidget(self._tool_column())
        layout.addWidget(self.canvas, 1)
        self._connect()
        self._session_changed()

    # -- building ----------------------------------------------------------------------------

    def _make_actions(self) -> None:
        group = QActionGroup(self)
        for kind, (key, symbol, words) in _TOOLS.items():
            take_up = partial(self.canvas.choose, kind)
            action = self._action(f"tool_{kind.value}", words, key, symbol, take_up)
            action.setCheckable(True)
            group.addAction(action)
        self.actions_by_name["tool_select"].setChecked(True)
        display = self.desk.display
        self._action("fit", "show the whole picture", _FIT_KEY, "fit-to-page-outline", self.fit)
        toggles: dict[str, tuple[str, str, str, Callable[[bool], None], bool]] = {
            "focus": (
                "sharpness as a number, to focus by",
                _FOCUS_KEY,
                "image-filter-center-focus",
                self.set_focus_help,
                False,
            ),
            "markers": (
                "mark the hottest and the coldest pixel (single odd pixels are passed over)",
                _MARKERS_KEY,
                "arrow-collapse-vertical",
                display.set_markers,
                display.markers,
            ),
            "parts": (
                "draw the board's parts, where a placement list is known",
                _PARTS_KEY,
                "memory",
                display.set_parts,
                display.parts,
            ),
            "shiny": (
                "hatch shiny places, once they were looked for: they mirror and are not read",
                _SHINY_KEY,
                "texture",
                self.desk.optics.show_shiny,
                True,
            ),
            "average": (
                "average the picture over time; what moves shows at once, readings stay raw",
                _AVERAGE_KEY,
                "layers-triple-outline",
                self.desk.optics.set_averaging,
                False,
            ),
            "follow": (
                "hold the picture still: regions and parts follow the board while the camera moves",
                _FOLLOW_KEY,
                "image-move",
                self.desk.following.set_on,
                False,
            ),
            "smooth": (
                "smooth between pixels when enlarged",
                _SMOOTH_KEY,
                "blur",
                display.set_smooth,
                display.smooth,
            ),
        }
        for name, (words, key, symbol, switch, on) in toggles.items():
            action = self._action(name, words, key, symbol, None)
            action.setCheckable(True)
            action.setChecked(on)
            action.toggled.connect(switch)

    def _action(
        self, name: str, words: str, key: str, symbol: str, run: Callable[[], object] | None
    ) -> QAction:
        action = QAction(icon(symbol), words, self)
        action.setObjectName(f"picture_{name}")
        action.setProperty("symbol", symbol)
        action.setShortcut(QKeySequence(key))
        action.changed.connect(partial(_tell_key, action, words))
        _tell_key(action, words)
        if run is not None:
            action.triggered.connect(lambda _checked=False: run())
        self.addAction(action)
        self.actions_by_name[name] = action
        return action

    def _tool_column(self) -> ToolColumn:
        shown = [item for item in self.actions_by_name.items() if item[0] not in _IN_MENU]
        first = [name for name, _ in shown].index("fit")
        return ToolColumn(shown[:first], shown[first:], self)

    def _connect(self) -> None:
        desk, canvas = self.desk, self.canvas
        desk.session_changed.connect(self._session_changed)
        desk.frame_shown.connect(self._frame_shown)
        desk.scale_changed.connect(self._scale_changed)
        desk.curves_changed.connect(self._curves_changed)
        desk.regions_changed.connect(canvas.update)
        desk.selection_changed.connect(canvas.update)
        desk.state_changed.connect(canvas.update)
        desk.flown_to.connect(canvas.fly_to)
        desk.layers.changed.connect(canvas.update)
        desk.findings.changed.connect(canvas.update)
        desk.findings.chosen_changed.connect(canvas.update)
        desk.optics.changed.connect(self._optics_changed)
        desk.following.changed.connect(self._following_changed)
        canvas.tool_changed.connect(self._tool_changed)
        canvas.measured.connect(self._measured)
        canvas.rename_wanted.connect(self.start_rename)
        self._name_edit.editingFinished.connect(self._renaming_done)

    # -- following the desk ------------------------------------------------------------------

    def _session_changed(self) -> None:
        session, board = self.desk.session, self.desk.board
        self.canvas.take_board()
        self.canvas.fit()
        if session is not None:
            self.desk.display.set_scene(session.scene)
        if board is not None:
            self.desk.display.set_mm_per_px(board.view.mm_per_px)
        self.canvas.refresh()

    def _frame_shown(self, frame: Frame) -> None:
        self.desk.display.observe(frame)
        self.canvas.refresh()

    def _curves_changed(self) -> None:
        if self.desk.session is not None:
            self.desk.display.set_scene(self.desk.session.scene)
        self.canvas.update()

    def _scale_changed(self) -> None:
        display, shown = self.desk.display, self.desk.shown
        if shown is not None:
            display.observe(shown)  # another view or mode has its level at once
        self.canvas.refresh()
        self.actions_by_name["markers"].setChecked(display.markers)
        self.actions_by_name["parts"].setChecked(display.parts)
        self.actions_by_name["smooth"].setChecked(display.smooth)

    def _optics_changed(self) -> None:
        self.actions_by_name["shiny"].setChecked(self.desk.optics.shiny_shown)
        self.actions_by_name["average"].setChecked(self.desk.optics.averaging)
        self.canvas.refresh()

    def _following_changed(self) -> None:
        self.actions_by_name["follow"].setChecked(self.desk.following.on)
        self.canvas.refresh()

    def _tool_changed(self, kind: ToolKind) -> None:
        self.actions_by_name[f"tool_{kind.value}"].setChecked(True)
        self.ruler.show_length(0.0)
        if kind is not ToolKind.SELECT:
            self.desk.say("info", self.canvas.tool.hint)

    def _measured(self, length_px: float) -> None:
        self.ruler.show_length(length_px)
        self.ruler.move(8, 8)
        self.canvas.update()

    # -- what others call --------------------------------------------------------------------

    def fit(self) -> None:
        """Show the whole picture."""
        self.canvas.fit()

    def choose_tool(self, kind: ToolKind) -> None:
        """Take up a tool."""
        self.canvas.choose(kind)

    def set_focus_help(self, on: bool) -> None:
        """Show the sharpness as a number, or not; the best so far begins anew."""
        self.canvas.focus_help, self.canvas.sharpest = on, 0.0
        self.actions_by_name["focus"].setChecked(on)
        self.canvas.update()

    def still(self, factor: int = 2) -> QImage:
        """Return a still of the shown frame, `factor` times its size; a frame must be shown."""
        return render_still(self.desk, factor=factor)

    def start_rename(self, region_id: str | None = None) -> None:
        """Edit a region's name at its label; without an id the only selected one's."""
        chosen = self.desk.selected_regions()
        wanted = region_id or (chosen[0].id if chosen else "")
        region = next((r for r in self.desk.document.current.regions if r.id == wanted), None)
        if region is None:
            return
        self._renamed = region.id
        self.canvas.repaint()  # so that the label's place is the present one
        rect = self.canvas.layer.label_rect(region.id)
        at = rect.topLeft().toPoint() if rect is not None else QPoint(8, 8)
        self._name_edit.setText(region.name)
        self._name_edit.selectAll()
        self._name_edit.setGeometry(at.x(), at.y(), 160, self._name_edit.sizeHint().height())
        self._name_edit.show()
        self._name_edit.setFocus()

    def _renaming_done(self) -> None:
        if not self._name_edit.isVisible():
            return
        region_id, name = self._renamed, self._name_edit.text()
        self._name_edit.hide()
        self.canvas.setFocus()
        if name.strip():
            self.desk.attempt(lambda: self.desk.document.rename(region_id, name))

    def contextMenuEvent(self, event: QContextMenuEvent) -> None:
        """Offer how the picture is shown."""
        menu = QMenu(self)
        menu.setObjectName("pictureMenu")
        fill_picture_menu(menu, self.desk, self)
        menu.addSeparator()
        menu.addActions([self.actions_by_name[name] for name in ("markers", "parts", "smooth")])
        menu.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        menu.aboutToHide.connect(self.canvas.setFocus)
        menu.popup(event.globalPos())

    def changeEvent(self, event: QEvent) -> None:
        """Take over another theme."""
        super().changeEvent(event)
        if event.type() is QEvent.Type.StyleChange:
            for action in self.actions_by_name.values():
                action.setIcon(icon(action.property("symbol")))


def _tell_key(action: QAction, words: str) -> None:
    """Keep the key in an action's tool tip, also after it has been bound anew."""
    tip = f"{words}   [{action.shortcut().toString()}]"
    if action.toolTip() != tip:
        action.setToolTip(tip)
