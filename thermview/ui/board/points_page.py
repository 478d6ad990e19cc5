"""Setting matching points: choose a place, click it in the picture, see how well they agree."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

from PySide6.QtCore import QEvent, QObject, Qt, QTimer, Signal
from PySide6.QtGui import QHideEvent, QKeyEvent, QShowEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QFileDialog,
    QHeaderView,
    QTableWidget,
    QTableWidgetItem,
    QVBoxLayout,
    QWidget,
)

from thermview.analysis.pair.refine import Refined, refined_landmarks
from thermview.board import format_landmarks
from thermview.paths import save_text
from thermview.session.known_places import proposal
from thermview.session.matching import ENOUGH, Grade, Point
from thermview.session.power import power_on
from thermview.ui.asking import ask_path
from thermview.ui.board.files import named_beside
from thermview.ui.board.place_field import PlaceField
from thermview.ui.board.point_tool import Pixel, PointTool
from thermview.ui.desk import Desk
from thermview.ui.picture.canvas import Canvas
from thermview.ui.picture.tools import ToolKind
from thermview.ui.tasks import Task
from thermview.ui.widgets import button, column, label, named, plain_rows, row, set_tone, tool

TONES = {Grade.FEW: "", Grade.GOOD: "good", Grade.POOR: "warning", Grade.REFUSED: "error"}
SIGNS = {Grade.FEW: "", Grade.GOOD: "✓ ", Grade.POOR: "⚠ ", Grade.REFUSED: "✗ "}
_REMOVING = (Qt.Key.Key_Delete, Qt.Key.Key_Backspace)
_FILES = "matching points (*.json);;all (*)"


class PointsPage(QWidget):
    """While it is seen, clicks in the picture set and drag points."""

    ended = Signal()  # the user has had enough

    def __init__(self, desk: Desk, canvas: Canvas) -> None:
        super().__init__()
        self.setObjectName("pointsPage")
        self._desk, self._canvas, self._keeper = desk, canvas, desk.boards
        self._before: tuple[Point, ...] = ()
        self._parts_shown: object = None
        self.field = PlaceField()
        self.step = label("", "pointStep", wrap=True)
        self.verdict = label("", "pointsVerdict", wrap=True)
        self.verdict.setToolTip(
            "landmarks: a homography from the board's mm to the picture's pixels, least squares"
        )
        self.table = self._table()
        self.remove = tool("delete-outline", "pointRemove", self._remove, tip="remove it  (Del)")
        layout = column(self)
        layout.addWidget(self.field)
        layout.addWidget(self.step)
        layout.addWidget(self.table, 1)
        layout.addWidget(self.verdict)
        layout.addLayout(self._buttons())
        self.field.edited.connect(self._choose)
        self._keeper.changed.connect(self._refresh)
        self._refresh()

    def _table(self) -> QTableWidget:
        table = named(QTableWidget(0, 2), "pointsTable")
        off = QTableWidgetItem("off")
        off.setToolTip("distance from its place by all points, mm")
        table.setHorizontalHeaderItem(0, QTableWidgetItem("point"))
        table.setHorizontalHeaderItem(1, off)
        table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        plain_rows(table)
        table.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        table.horizontalHeader().setSectionResizeMode(0, QHeaderView.ResizeMode.Stretch)
        table.setAccessibleName("matching points")
        table.itemSelectionChanged.connect(self._row_chosen)
        table.installEventFilter(self)
        return table

    def _buttons(self) -> QVBoxLayout:
        undo = tool("undo", "pointUndo", self._desk.undo, tip="take the last point back  (Ctrl+Z)")
        redo = tool("redo", "pointRedo", self._desk.redo, tip="do it again  (Ctrl+Shift+Z)")
        anew = tool(
            "eraser", "pointsAnew", self.clear, tip="remove all points; undo brings them back"
        )
        load = tool(
            "folder-open-outline", "pointsLoad", self.ask_load, tip="load matching points …"
        )
        save = tool("content-save-outline", "pointsSave", self.ask_save, tip="save them …")
        self.refine = tool(
            "target",
            "pointsRefine",
            self._refine,
            tip="move the points onto the picture's own pattern: the parts' edges, and their heat",
            text="refine",
        )
        done = button("done", "pointsDone", self.ended.emit, role="primary")
        lines = column()
        lines.addLayout(row(undo, redo, self.remove, anew, load, save, None))
        lines.addLayout(row(self.refine, None, done))
        return lines

    # -- following -------------------------------------------------------------------------------

    def _refresh(self) -> None:
        keeper, table = self._keeper, self.table
        if keeper.parts is not self._parts_shown:
            self._parts_shown = keeper.parts
            self.field.show_parts(keeper.parts, keeper.places)
        chosen = table.currentRow()
        table.blockSignals(True)
        table.setRowCount(len(keeper.points))
        checked = len(keeper.points) > ENOUGH
        for number, point in enumerate(keeper.points):
            off = keeper.fit.misfits_mm[number] if number < len(keeper.fit.misfits_mm) else math.nan
            known = checked and math.isfinite(off)
            worst = known and number == keeper.fit.worst and keeper.fit.grade is not Grade.GOOD
            words = f"⚠ {point.name}" if worst else point.name
            table.setItem(number, 0, QTableWidgetItem(words))
            table.setItem(number, 1, QTableWidgetItem(f"{off:.2f} mm" if known else "–"))
        table.blockSignals(False)
        if chosen >= len(keeper.points):
            table.setCurrentCell(-1, -1)
        fit = keeper.fit
        self.verdict.setText(f"{SIGNS[fit.grade]}{fit.words}")
        self.refine.setEnabled(fit.view is not None and bool(keeper.parts))
        set_tone(self.verdict, TONES[fit.grade])

    def _choose(self) -> None:
        """Say what is to be clicked, and show where it should be once that is known."""
        place = self.field.place()
        if place is None:
            self.step.setText("Choose a part by its name in the list.")
            return
        self.step.setText(f"Click {place.words} in the picture.{self._other_side(place.side)}")
        if self.isVisible():
            self._keeper.light((), place.part)
            self._arm()

    def _other_side(self, side: str) -> str:
        """Say, before the first point, what to do where the proposed side is not the one seen."""
        sides = {part.side for part in self._keeper.parts}
        if self._keeper.points or not side or len(sides) < 2:
            return ""
        other = "bottom" if side == "top" else "top"
        return f" It is on the {side}; if the {other} is seen, choose a part of the {other}."

    def _propose(self) -> None:
        points = self._keeper.points
        self.field.propose(proposal(self._keeper.parts, points, self._keeper.places), points)
        self._choose()

    def showEvent(self, event: QShowEvent) -> None:
        """Take the picture's clicks."""
        self._keeper.set_matching(True)
        QTimer.singleShot(0, self, self._propose)

    def hideEvent(self, event: QHideEvent) -> None:
        """Give the picture back."""
        self._keeper.set_matching(False)
        self._keeper.light(())
        if isinstance(self._canvas.tool, PointTool):
            self._canvas.tool.retire()
            self._canvas.choose(ToolKind.SELECT)

    def _arm(self) -> None:
        if not isinstance(self._canvas.tool, PointTool):
            self._canvas.take_up(PointTool(self._desk, self, self.ended.emit))

    # -- what the tool tells ---------------------------------------------------------------------

    def places(self) -> list[Pixel]:
        """Return where the points lie."""
        return [point.pixel for point in self._keeper.points]

    def place(self, pixel: Pixel) -> None:
        """Set the chosen place's point here; one that it has already moves."""
        chosen = self.field.place()
        if chosen is None:
            self._desk.say("info", "choose first what you are going to click")
            return
        rest = [point for point in self._keeper.points if point.name != chosen.name]
        self._keeper.set_points((*rest, chosen.at(pixel)))
        self._propose()

    def drag(self, number: int, pixel: Pixel) -> None:
        """Follow the mouse."""
        points = list(self._keeper.points)
        self._before = self._before or tuple(points)
        old = points[number]
        points[number] = Point(old.board_mm, pixel, old.name, old.side)
        self._keeper.show_points(points)

    def dropped(self, number: int) -> None:
        """Make the drag one step."""
        before, self._before = self._before, ()
        if before:
            self._keeper.set_points(self._keeper.points, before=before)

    def drag_given_up(self, number: int) -> None:
        """Put it back."""
        before, self._before = self._before, ()
        if before:
            self._keeper.show_points(before)

    # -- the table and files ---------------------------------------------------------------------

    def _row_chosen(self) -> None:
        number = self.table.currentRow()
        if 0 <= number < len(self._keeper.points):
            self._desk.flown_to.emit(*self._keeper.points[number].pixel)

    def _remove(self) -> None:
        number = self.table.currentRow()
        points = self._keeper.points
        if not 0 <= number < len(points):
            self._desk.say("info", "select a point in the table first")
            return
        self._keeper.set_points(points[:number] + points[number + 1 :])
        self._choose()

    def _refine(self) -> None:
        """Sharpen the points by what the recording shows, in the background; one step to undo."""
        session, keeper = self._desk.session, self._keeper
        if session is None or not keeper.parts:
            self._desk.say("info", "refining takes a recording and a list of parts")
            return
        points, parts, footage = keeper.points, keeper.parts, session.footage
        on_s = power_on(session.marks, session.supply)
        marks = [point.landmark() for point in points]

        def work(task: Task) -> Refined:
            told = task.telling("refining the points", "refining the points was cancelled")
            return refined_landmarks(marks, parts, footage, on_s=on_s, progress=told)

        def take(refined: Refined) -> None:
            if keeper.points != points:
                return  # they have been set anew meanwhile
            pairs = zip(points, refined.landmarks, strict=True)
            moved = [replace(point, pixel=mark.pixel) for point, mark in pairs]
            keeper.set_refined(moved, refined.sigma_mm)
            self._desk.say(
                "info",
                f"points moved by {refined.moved_mm:.2f} mm ({refined.moved_px:.1f} pixels); "
                f"± {refined.sigma_mm:.2f} mm remain; undo brings the clicked ones back",
            )

        self._desk.run_task("refining the points", work, take)

    def clear(self) -> None:
        """Start anew."""
        self._keeper.set_points(())
        self._propose()

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Delete the table's chosen point."""
        if not isinstance(event, QKeyEvent) or event.key() not in _REMOVING:
            return False
        if event.type() is QEvent.Type.ShortcutOverride:
            event.accept()  # else the key would delete regions
        elif event.type() is QEvent.Type.KeyPress:
            self._remove()
            return True
        return False

    def ask_load(self) -> None:
        """Choose a file of matching points."""
        name, _ = QFileDialog.getOpenFileName(
            self, "load matching points", named_beside(self._desk), _FILES
        )
        if name:
            self._desk.attempt(lambda: self._keeper.load_points(Path(name)))
            self._choose()

    def ask_save(self) -> None:
        """Choose where the matching points are written."""
        first = named_beside(self._desk, ".landmarks.json")
        path = ask_path(self, "save matching points", first, _FILES)
        if path is not None:
            self._desk.attempt(lambda: self.save(path))

    def save(self, path: Path) -> None:
        """Write the matching points.

        Raises
        ------
        OutputError
            The file cannot be written.
        """
        text = format_landmarks(self._keeper.landmarks()) + "\n"
        save_text(path, text)
        self._desk.say("info", f"{len(self._keeper.points)} matching points saved: {path}")
