"""The row of buttons under the chart: play, step, speed, loop, marks, where we are."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QComboBox, QHBoxLayout, QLabel, QSizePolicy, QWidget

from thermview.regions import Statistic
from thermview.ui.strip.ticks import clock_text
from thermview.ui.theme import tokens
from thermview.ui.widgets import icon, label, named, tool

if TYPE_CHECKING:
    from thermview.ui.desk import Desk
    from thermview.ui.strip.chart import StripChart

SPEEDS = (0.1, 0.25, 0.5, 1.0, 2.0, 4.0, 8.0, 16.0)
_LOOP_TIP = "play over and over: all, or what Ctrl and a drag along the time chose"
_MARK_TIPS = ("previous mark  ( [ )", "next mark  ( ] )")
STATISTICS: dict[Statistic, str] = {"max": "highest", "mean": "mean", "min": "lowest"}


class TransportRow(QWidget):
    """Buttons that move the playhead; every one has a key as well."""

    def __init__(self, desk: Desk, chart: StripChart, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("strip_transport")
        self._desk, self._chart = desk, chart
        self._buttons = {
            name: (tool(symbol, f"strip_{name}", action, tip=tip), symbol)
            for name, symbol, action, tip in self._actions()
        }
        self.play, self.loop, self.live, self.fit = (
            self._buttons[name][0] for name in ("play", "loop", "live", "fit")
        )
        self.loop.setCheckable(True)
        self.live.setCheckable(True)
        self.live.setText("live")
        self.live.setToolButtonStyle(Qt.ToolButtonStyle.ToolButtonTextBesideIcon)
        self.speed = self._box("strip_speed", [f"{s:g}×" for s in SPEEDS], "speed of playing")
        self.speed.setCurrentIndex(SPEEDS.index(1.0))
        self.speed.activated.connect(lambda i: self._set_speed(SPEEDS[i]))
        self.statistic = self._box(
            "strip_statistic",
            list(STATISTICS.values()),
            "what is drawn of each region",
        )
        self.statistic.activated.connect(lambda i: desk.set_statistic(list(STATISTICS)[i]))
        self.time = label("", "strip_time", "large")
        self.total = label("", "strip_total", "dim")
        self.total.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        self._lay_out()
        self.show_state()
        self.show_time()

    @staticmethod
    def _box(name: str, texts: list[str], tip: str) -> QComboBox:
        box = named(QComboBox(), name)
        box.addItems(texts)
        box.setToolTip(tip)
        box.setAccessibleName(tip)
        box.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        return box

    def _actions(self) -> list[tuple[str, str, Callable[[], object], str]]:
        """Return the buttons from the left: name, icon, what it does, tip."""
        desk = self._desk
        return [
            ("start", "skip-backward", lambda: desk.seek(0), "first frame  (Home)"),
            ("previous_mark", "arrow-collapse-left", lambda: desk.next_mark(-1), _MARK_TIPS[0]),
            ("back", "step-backward", lambda: desk.step(-1), "one frame back  (←)"),
            ("play", "play", desk.play_pause, "play or pause  (Space)"),
            ("forward", "step-forward", lambda: desk.step(1), "one frame on  (→)"),
            ("next_mark", "arrow-collapse-right", lambda: desk.next_mark(1), _MARK_TIPS[1]),
            ("loop", "repeat", self._toggle_loop, _LOOP_TIP),
            ("fit", "arrow-expand-horizontal", self._chart.fit, "show all  (0)"),
            ("live", "record-circle-outline", desk.follow, "follow live  (End)"),
        ]

    def _lay_out(self) -> None:
        space = tokens().space
        layout = QHBoxLayout(self)
        layout.setContentsMargins(space, 0, space, 4)
        layout.setSpacing(2)
        for name in ("start", "previous_mark", "back", "play", "forward", "next_mark", "loop"):
            layout.addWidget(self._buttons[name][0])
        layout.addSpacing(space)
        layout.addWidget(self.speed)
        layout.addSpacing(2 * space)
        layout.addWidget(self.time)
        layout.addSpacing(space)
        layout.addWidget(self.total, 1)
        layout.addWidget(label("curves", "strip_statistic_label", "dim"))
        layout.addSpacing(4)
        layout.addWidget(self.statistic)
        layout.addSpacing(space)
        layout.addWidget(self.fit)
        layout.addWidget(self.live)
        self.time.ensurePolished()
        self._fix_width(self.time, "0:00:00.00")

    def _fix_width(self, widget: QLabel, widest: str) -> None:
        """Keep the row from jumping as digits change."""
        widget.setMinimumWidth(widget.fontMetrics().horizontalAdvance(widest))

    def _set_speed(self, speed: float) -> None:
        self._desk.player.speed = speed

    def _toggle_loop(self) -> None:
        player = self._desk.player
        player.loop = not player.loop
        self._chart.update()
        self.show_state()

    def renew_icons(self) -> None:
        """Draw the icons in the present theme's colour."""
        for button, symbol in self._buttons.values():
            button.setIcon(icon(symbol))
        self.show_state()

    # ---- showing ---------------------------------------------------------------------------

    def show_state(self) -> None:
        """Show what the player does and what can be done."""
        session, player = self._desk.session, self._desk.player
        runs = player.playing or (player.follow and session is not None and session.is_live)
        self.play.setIcon(icon("pause" if runs else "play"))
        self.loop.setChecked(player.loop)
        self.speed.setCurrentIndex(int(np.argmin([abs(s - player.speed) for s in SPEEDS])))
        self.statistic.setCurrentIndex(list(STATISTICS).index(self._desk.statistic))
        live = session is not None and session.is_live
        self.live.setVisible(live)
        self.live.setChecked(player.follow)
        self.live.setIcon(icon("record-circle-outline", tokens().accent if player.follow else None))
        self.fit.setEnabled(not self._chart.timeline.whole)
        for child in self.findChildren(QWidget, options=Qt.FindChildOption.FindDirectChildrenOnly):
            if child is not self.fit:
                child.setEnabled(session is not None)

    def show_time(self) -> None:
        """Show where the playhead is."""
        session = self._desk.session
        if session is None:
            self.time.setText("--:--")
            self.total.setText("")
            return
        self.time.setText(clock_text(self._desk.now_s))
        times_s = session.curves.times_s
        frames = len(times_s)
        whole_s = float(times_s[-1]) if frames else 0.0
        self.total.setText(
            f"of {clock_text(whole_s)}   frame {max(self._desk.shown_number, 0):,} of {frames:,}"
        )
