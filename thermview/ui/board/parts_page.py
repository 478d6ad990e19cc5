"""Finding parts: by designator, net, kind and side; lit on the picture, made into regions."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QEvent, QObject, Qt
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import (
    QComboBox,
    QHeaderView,
    QLineEdit,
    QTableView,
    QWidget,
)

from thermview.board import Part, find_parts, nets_of, side_seen
from thermview.ui.board.parts_table import PartsTable, kind_words
from thermview.ui.desk import Desk
from thermview.ui.widgets import button, column, label, named, plain_rows, row

ANY_NET, ANY_KIND = "any net", "any kind"
SEEN, TOP, BOTTOM, BOTH = "the side seen", "top", "bottom", "both sides"


class PartsPage(QWidget):
    """The search line, three filters, the table, and what can be done with what is found."""

    def __init__(
        self, desk: Desk, import_parts: Callable[[], object], match: Callable[[], object]
    ) -> None:
        super().__init__()
        self.setObjectName("partsPage")
        self._desk, self._keeper = desk, desk.boards
        self._known: tuple[Part, ...] | None = None
        self._sorted: list[Part] = []
        self._filling = False
        self.search = named(QLineEdit(), "partSearch")
        self.search.setPlaceholderText("find a part: C12, 100n, SOIC …")
        self.search.setClearButtonEnabled(True)
        self.search.setAccessibleName("find a part")
        self.search.installEventFilter(self)
        self.net = self._combo("netFilter", "everything on this net")
        self.kind = self._combo("kindFilter", "by the designator's letters")
        self.side = self._combo("sideFilter", "side of the board")
        self.side.addItems([SEEN, TOP, BOTTOM, BOTH])
        self._spare = QWidget()  # takes the table's room while there is none
        self.model = PartsTable(self)
        self.table = self._table()
        self.count = label("", "partsCount", "dim")
        self.hint = label("", "partsHint", wrap=True)
        self.match = button("set matching points", "partsMatch", match, role="primary")
        self.make = button(
            "make regions",
            "partsToRegions",
            self._make_regions,
            tip="a region around each selected part, or around all that are found; a double click "
            "on a part, here or in the picture, does it too",
        )
        load = button(
            "load …",
            "partsImport",
            import_parts,
            tip="placement list (centroid file), netlist (IPC-D-356A) or part map",
        )
        layout = column(self)
        layout.addWidget(self.search)
        layout.addLayout(row(self.net, self.kind))
        layout.addLayout(row(self.side, None, self.count))
        layout.addWidget(self.hint)
        layout.addLayout(row(self.match, None))
        layout.addWidget(self.table, 1)
        layout.addWidget(self._spare, 1)
        layout.addLayout(row(self.make, None, load))
        self.search.textChanged.connect(self._filter)
        for combo in (self.net, self.kind, self.side):
            combo.currentTextChanged.connect(self._filter)
        self.table.selectionModel().selectionChanged.connect(self._row_chosen)
        self.table.doubleClicked.connect(lambda _: self._make_regions())
        self._keeper.changed.connect(self._parts_changed)
        desk.board_changed.connect(self._filter)
        self._parts_changed()

    def _combo(self, name: str, tip: str) -> QComboBox:
        made = named(QComboBox(), name)
        made.setToolTip(tip)
        made.setAccessibleName(tip)
        made.setMinimumContentsLength(8)
        made.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        return made

    def _table(self) -> QTableView:
        table = named(QTableView(), "partsTable")
        table.setModel(self.model)
        plain_rows(table, 26)
        table.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        header = table.horizontalHeader()
        header.setSectionResizeMode(QHeaderView.ResizeMode.Interactive)
        header.setStretchLastSection(True)
        for at, width in enumerate((64, 130)):
            table.setColumnWidth(at, width)
        table.setAccessibleName("the board's parts")
        return table

    # -- following the keeper --------------------------------------------------------------------

    def _parts_changed(self) -> None:
        """Take over another list; a change of points only leaves everything as it is."""
        if self._keeper.parts is self._known:
            return
        self._known = self._keeper.parts
        self._sorted = find_parts(self._known)
        self._filling = True
        self._refill(self.net, ANY_NET, nets_of(self._known))
        self._refill(self.kind, ANY_KIND, sorted({kind_words(part) for part in self._known}))
        self._filling = False
        self._filter()

    def _refill(self, combo: QComboBox, first: str, rest: list[str]) -> None:
        chosen = combo.currentText()
        combo.clear()
        combo.addItems([first, *rest])
        combo.setCurrentText(chosen if chosen in rest else first)
        combo.setVisible(bool(rest))

    def _side(self) -> str | None:
        chosen = self.side.currentText()
        if chosen == SEEN:
            board = self._desk.board
            return side_seen(board.view) if board is not None else None
        return None if chosen == BOTH else chosen

    def _filter(self, *_: object) -> None:
        if self._filling:
            return
        words, net, kind = (
            self.search.text().strip().lower(),
            self.net.currentText(),
            self.kind.currentText(),
        )
        net_or_any = None if net in ("", ANY_NET) else net
        found = [
            part
            for part in find_parts(self._sorted, words, net=net_or_any, side=self._side())
            if kind in ("", ANY_KIND, kind_words(part))
            # one letter stands in most values; it is meant as a designator's
            and (
                len(words.strip()) != 1 or part.designator.lower().startswith(words.strip().lower())
            )
        ]
        self.model.show(found)
        self.count.setText(f"{len(found)} of {len(self._sorted)}" if self._sorted else "")
        for widget in (self.search, self.side, self.count, self.table, self.make):
            widget.setVisible(bool(self._sorted))
        self._spare.setVisible(not self._sorted)
        self._tell(found)
        self._light()

    def _tell(self, found: list[Part]) -> None:
        words = ""
        if not self._sorted:
            words = (
                "No parts are known for this board. Load its placement list, or drop the file on "
                "the window. Without one, draw regions on the parts (a photo under the heat shows "
                "them), name them, and keep them as a part map (menu, board)."
            )
        elif self._desk.board is None:
            words = "Set matching points to see these parts on the picture."
        elif not found:
            words = "No part is like that."
        self.hint.setText(words)
        self.hint.setVisible(bool(words))
        self.match.setVisible(bool(self._sorted) and self._desk.board is None)

    def _narrowed(self) -> bool:
        any_filter = self.net.currentText() not in ("", ANY_NET)
        any_filter |= self.kind.currentText() not in ("", ANY_KIND)
        return bool(self.search.text().strip()) or any_filter

    def _light(self, chosen: str = "") -> None:
        """Bring out what is found, unless that is everything."""
        if not self.isVisible():
            return
        lit = [part.designator for part in self.model.parts] if self._narrowed() else []
        self._keeper.light(lit, chosen)

    def showEvent(self, event: object) -> None:
        """Light what is found."""
        self._light()

    def hideEvent(self, event: object) -> None:
        """Light nothing."""
        self._keeper.light(())

    # -- what the user does ----------------------------------------------------------------------

    def _row_chosen(self, *_: object) -> None:
        rows = self.table.selectionModel().selectedRows()
        if not rows:
            return
        designator = self.model.parts[rows[-1].row()].designator
        self._light(designator)
        self._keeper.fly_to(designator)

    def _selected(self) -> list[str]:
        rows = self.table.selectionModel().selectedRows()
        return [self.model.parts[index.row()].designator for index in rows]

    def _make_regions(self) -> None:
        chosen = self._selected()
        if not chosen and not self._narrowed():
            self._desk.say("info", "select parts in the table, or narrow it down first")
            return
        made = self._keeper.make_regions(chosen or [part.designator for part in self.model.parts])
        if made:
            names = ", ".join(region.name for region in made[:6])
            more = f" and {len(made) - 6} more" if len(made) > 6 else ""
            self._desk.say("info", f"regions drawn: {names}{more}")

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Let the arrows walk through what is found while the search line has the keys."""
        if event.type() is QEvent.Type.KeyPress and isinstance(event, QKeyEvent):
            rows = self.table.selectionModel().selectedRows()
            at = rows[-1].row() if rows else -1
            steps = {Qt.Key.Key_Down: 1, Qt.Key.Key_Up: -1}
            if event.key() in steps:
                at += steps[Qt.Key(event.key())]
            elif event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
                at = max(at, 0)
            else:
                return False
            if 0 <= at < len(self.model.parts):
                self.table.clearSelection()
                self.table.selectRow(at)
            return True
        return False
