"""The readings: the selected region in large numbers, all of them in a table."""

from __future__ import annotations

import math

from PySide6.QtCore import QItemSelection, QItemSelectionModel, QPoint, Qt
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QFrame,
    QHeaderView,
    QMenu,
    QTableView,
    QToolButton,
)

from thermview.ui.desk import Desk
from thermview.ui.panels.readings_table import (
    COLUMNS,
    NAME,
    NOW,
    RISE,
    ReadingsModel,
)
from thermview.ui.panels.selected import SelectedCard
from thermview.ui.region_edits import RegionEdits
from thermview.ui.theme import tokens
from thermview.ui.widgets import Refresher, column, label, named, plain_rows, row, tool

REFRESH_MS = 200
COLUMN_PX = 78  # room that a column of numbers needs
WORTH_PX = {RISE: 122, NOW: 102}  # of a number with its uncertainty, such as +12.34 ± 0.12
NAME_PX = 90
LEAST_TABLE_PX = 58  # heads and a row: with the settings open there is little room at 800 px


class ReadingsPanel(QFrame):
    """What the regions read at the shown moment."""

    def __init__(self, desk: Desk, edits: RegionEdits | None = None) -> None:
        super().__init__()
        named(self, "readingsPanel", "panel")
        self._desk = desk
        self.edits = edits if edits is not None else RegionEdits(desk)
        self.model = ReadingsModel(desk)
        self.card = SelectedCard(desk, self.model)
        self.table = self._make_table()
        self.hint = label("", "readingsHint", "dim", wrap=True)
        space = tokens().space
        layout = column(self, margin=space)
        layout.addLayout(row(label("readings", "readingsHeading", "heading"), None, *self._tools()))
        layout.addWidget(self.card)
        layout.addWidget(self.hint)
        layout.addWidget(self.table, 1)
        self.trust = label("", "readingsTrust", "small", wrap=True)
        layout.addWidget(self.trust)
        self._heads: list[str] = []
        self._refresher = Refresher(self, self.refresh, REFRESH_MS)
        desk.regions_changed.connect(self._rebuild)
        desk.session_changed.connect(self._rebuild)
        desk.selection_changed.connect(self._show_selection)
        for signal in (desk.frame_shown, desk.curves_grew, desk.curves_changed, desk.scale_changed):
            signal.connect(self._refresher.mark)
        desk.scale_changed.connect(self._rename_heads)
        desk.optics.changed.connect(self._refresher.mark)
        self._rebuild()

    def _make_table(self) -> QTableView:
        table = named(QTableView(), "readingsTable")
        table.setModel(self.model)
        plain_rows(table, 28)
        table.setSelectionMode(QAbstractItemView.SelectionMode.ExtendedSelection)
        table.setMinimumHeight(LEAST_TABLE_PX)
        table.setWordWrap(False)
        table.setContextMenuPolicy(Qt.ContextMenuPolicy.CustomContextMenu)
        table.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        head = table.horizontalHeader()
        head.setSectionResizeMode(QHeaderView.ResizeMode.Fixed)
        head.setSectionResizeMode(NAME, QHeaderView.ResizeMode.Stretch)
        head.setDefaultSectionSize(COLUMN_PX)
        for position, width in WORTH_PX.items():
            head.resizeSection(position, width)
        head.setHighlightSections(False)
        head.setMinimumSectionSize(48)
        table.customContextMenuRequested.connect(self._menu)
        table.selectionModel().selectionChanged.connect(self._selected_here)
        table.clicked.connect(lambda _: desk_fly(self._desk))
        return table

    def _tools(self) -> list[QToolButton]:
        edits = self.edits
        settings = tool(
            "tune", "regionSettings", tip="emissivity, limit and statistic of the selected"
        )
        settings.setCheckable(True)
        settings.setChecked(bool(self._desk.settings.get("region settings", False)))
        settings.toggled.connect(self.card.show_fields)
        self.card.show_fields(settings.isChecked())
        self.settings = settings
        made = [
            ("content-duplicate", "duplicate", "duplicate the selected"),
            ("flip-horizontal", "mirror_x", "mirrored copy, left to right, for an equal channel"),
            ("flip-vertical", "mirror_y", "mirrored copy, top to bottom, for an equal channel"),
            ("arrow-all", "shift", "copy shifted to an equal channel …"),
            ("minus-circle-outline", "difference", "curve: first selected less the second"),
            ("trash-can-outline", "delete", "delete the selected"),
        ]
        return [settings] + [
            tool(symbol, f"region_{name}", getattr(edits, name), tip=tip)
            for symbol, name, tip in made
        ]

    # ---- following the desk --------------------------------------------------------------

    def refresh(self) -> None:
        """Take the numbers of the shown moment."""
        self._refresher.clear()
        self.model.refresh()
        self.card.refresh()
        words, tip = trust_words(self._desk)
        self.trust.setText(words)
        self.trust.setToolTip(tip)
        self.trust.setVisible(bool(words))

    def _rename_heads(self) -> None:
        """The unit stands in the heads."""
        heads = [self.model.head(position) for position in range(len(COLUMNS))]
        if heads != self._heads:
            self._heads = heads
            last = len(COLUMNS) - 1
            self.model.headerDataChanged.emit(Qt.Orientation.Horizontal, 0, last)

    def _rebuild(self) -> None:
        self.model.rebuild()
        empty = self.model.rowCount() == 0
        self.hint.setVisible(empty)
        self.table.horizontalHeader().setVisible(not empty)
        self.hint.setText(
            "No region yet. Choose a shape at the picture's left edge and draw it on a part."
            if self._desk.session is not None
            else "Open a recording or an input first."
        )
        self._show_selection()

    def _show_selection(self) -> None:
        model = self.table.selectionModel()
        wanted = QItemSelection()
        for item_id in self._desk.selected:
            row_number = self.model.row_of(item_id)
            if row_number >= 0:
                index = self.model.index(row_number, 0)
                wanted.select(index, index)
                self.table.scrollTo(index)
        flags = QItemSelectionModel.SelectionFlag
        blocked = model.blockSignals(True)
        model.select(wanted, flags.ClearAndSelect | flags.Rows)
        model.blockSignals(blocked)
        self.table.viewport().update()
        self.card.show_settings()
        self.card.refresh()

    def _selected_here(self, *_: object) -> None:
        rows = self.table.selectionModel().selectedRows()
        self._desk.select(self.model.item(index.row()).id for index in rows)

    def _menu(self, at: QPoint) -> None:
        menu = QMenu(self)
        menu.setObjectName("regionMenu")
        self.edits.fill_menu(menu)
        menu.exec(self.table.viewport().mapToGlobal(at))
        menu.deleteLater()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Show as many columns as there is room for."""
        super().resizeEvent(event)
        room = event.size().width() - NAME_PX - sum(WORTH_PX.values())
        numbers = 2 + max(0, room // COLUMN_PX)
        for position in range(len(COLUMNS)):
            self.table.setColumnHidden(position, position > numbers)


def trust_words(desk: Desk) -> tuple[str, str]:
    """Return what can be trusted now, in a line, and how that is known."""
    if desk.session is None or desk.display.relative:
        return "", ""
    optics, display = desk.optics, desk.display
    least_k = optics.smallest_rise_k()
    words = ["noise not measured yet"]
    tip = ["three standard deviations of one pixel, now and in the zero"]
    if math.isfinite(least_k):
        least = display.difference_text(least_k).lstrip("+")
        words = [f"rises to trust: {least} and more"]
        tip[0] += ", picture averaged" if optics.averaging else ", one picture"
    report = optics.noise
    if report is not None:
        tip.append(
            f"noise (NETD) {report.netd_k * 1e3:.0f} mK over {report.frames} still frames, drift "
            f"{report.drift_k_per_min:+.2f} K a minute, fixed pattern "
            f"{report.fixed_pattern_k * 1e3:.0f} mK; seen to fall with means of "
            f"up to {report.knee_frames} frames"
        )
    if optics.profile.calibration is None and not optics.profile.accuracy_k:
        words.append("camera taken as ± 2 K")
    else:
        words.append("camera calibrated")
    tip.append(optics.profile.words())
    if optics.shiny is not None:
        words.append(f"{optics.shiny.mask.mean():.1%} shiny")
        tip.append(f"shiny places: {optics.shiny.how}")
    tip.append(f"not readable beyond ± {optics.limit_k:g} K; the menu changes that")
    return " · ".join(words), "\n".join(tip)


def desk_fly(desk: Desk) -> None:
    """Let the picture fly to what is selected."""
    desk.select(desk.selected, fly=True)
