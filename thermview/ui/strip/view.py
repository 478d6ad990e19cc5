"""The strip: chart and scrubber in one, with the buttons below and the keys."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from PySide6.QtCore import QEvent, Qt
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QVBoxLayout, QWidget

from thermview.ui.strip.chart import ZOOM_STEP, StripChart
from thermview.ui.strip.transport import TransportRow
from thermview.ui.widgets import named

if TYPE_CHECKING:
    from thermview.ui.desk import Desk

_SHIFTED_S = 1.0


class StripView(QWidget):
    """Curves of the regions on the picture's colour scale, supply and marks, over one time axis.

    Keys while it has the focus: left and right step a frame, with Shift a second; Home and End;
    Space plays; ``[`` and ``]`` go to the marks; ``+`` and ``-`` zoom, ``0`` shows all.
    """

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        named(self, "strip", "panel")
        self.setAttribute(Qt.WidgetAttribute.WA_StyledBackground)
        self.setFocusPolicy(Qt.FocusPolicy.ClickFocus | Qt.FocusPolicy.TabFocus)
        self._desk = desk
        self.chart = StripChart(desk, self)
        self.transport = TransportRow(desk, self.chart, self)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(2)
        layout.addWidget(self.chart, 1)
        layout.addWidget(self.transport)
        self.chart.setFocusProxy(self)
        self.chart.setFocusPolicy(Qt.FocusPolicy.ClickFocus)
        self._keys = self._key_actions()
        self._connect()
        self.chart.forget()

    def _connect(self) -> None:
        desk, chart, transport = self._desk, self.chart, self.transport
        desk.session_changed.connect(self._begin)
        desk.curves_grew.connect(chart.refresh_film)
        desk.curves_grew.connect(transport.show_time)
        desk.playhead_moved.connect(chart.move_playhead)
        desk.playhead_moved.connect(transport.show_time)
        desk.scale_changed.connect(chart.refresh_scale)
        desk.state_changed.connect(transport.show_state)
        desk.curves_changed.connect(transport.show_state)
        for changed in (
            desk.curves_changed,
            desk.regions_changed,
            desk.selection_changed,
            desk.marks_changed,
            desk.findings.chosen_changed,
        ):
            changed.connect(chart.refresh)
        chart.stretch_changed.connect(transport.show_state)
        chart.loop_changed.connect(transport.show_state)

    def _begin(self) -> None:
        self.chart.forget()
        self.transport.show_state()
        self.transport.show_time()

    # ---- keys ------------------------------------------------------------------------------

    def _key_actions(self) -> dict[tuple[int, bool], Callable[[], object]]:
        """Return what keys do, by key and Shift."""
        desk, chart = self._desk, self.chart
        key = Qt.Key
        return {
            (key.Key_Left, False): lambda: desk.step(-1),
            (key.Key_Right, False): lambda: desk.step(1),
            (key.Key_Left, True): lambda: desk.seek_time(desk.now_s - _SHIFTED_S),
            (key.Key_Right, True): lambda: desk.seek_time(desk.now_s + _SHIFTED_S),
            (key.Key_Home, False): lambda: desk.seek(0),
            (key.Key_End, False): self._to_end,
            (key.Key_Space, False): desk.play_pause,
            (key.Key_BracketLeft, False): lambda: desk.next_mark(-1),
            (key.Key_BracketRight, False): lambda: desk.next_mark(1),
            (key.Key_Plus, False): lambda: chart.zoom(1 / ZOOM_STEP),
            (key.Key_Equal, False): lambda: chart.zoom(1 / ZOOM_STEP),
            (key.Key_Minus, False): lambda: chart.zoom(ZOOM_STEP),
            (key.Key_0, False): chart.fit,
        }

    def _to_end(self) -> None:
        """Go to the live edge and stay there, or to a recording's last frame."""
        session = self._desk.session
        if session is not None and session.is_live:
            self._desk.follow()
        elif session is not None:
            self._desk.seek(len(session.curves) - 1)

    def _action(self, event: QKeyEvent) -> Callable[[], object] | None:
        modifiers = event.modifiers()
        if modifiers & (Qt.KeyboardModifier.ControlModifier | Qt.KeyboardModifier.AltModifier):
            return None
        shift = bool(modifiers & Qt.KeyboardModifier.ShiftModifier)
        found = self._keys.get((event.key(), shift))
        if found is None and event.key() not in (Qt.Key.Key_Home, Qt.Key.Key_End):
            # signs that need Shift on some keyboards
            found = self._keys.get((event.key(), False))
        return found

    def event(self, event: QEvent) -> bool:
        """Claim the strip's keys before the window's shortcuts get them."""
        if (
            isinstance(event, QKeyEvent)
            and event.type() == QEvent.Type.ShortcutOverride
            and self._action(event) is not None
        ):
            event.accept()
            return True
        return super().event(event)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Do what the key says."""
        action = self._action(event)
        if action is None or self._desk.session is None:
            super().keyPressEvent(event)
            return
        action()

    def changeEvent(self, event: QEvent) -> None:
        """Take up another theme."""
        if event.type() == QEvent.Type.StyleChange:
            self.chart.refresh()
            self.transport.renew_icons()
        super().changeEvent(event)
