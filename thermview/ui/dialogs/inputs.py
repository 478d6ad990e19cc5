"""Inputs to choose from: cameras with their stream layout, and simulated boards."""

from __future__ import annotations

from PySide6.QtCore import Qt, QTimer, Signal
from PySide6.QtWidgets import (
    QComboBox,
    QDialog,
    QFormLayout,
    QListWidget,
    QListWidgetItem,
    QWidget,
)

from thermview.sources import InputOffer, OpenOptions, list_inputs
from thermview.sources.hotplug import CameraWatch
from thermview.sources.layouts import layouts
from thermview.ui.desk import Desk
from thermview.ui.tasks import Task
from thermview.ui.theme import tokens
from thermview.ui.widgets import button, column, label, named, row

AS_FOUND = "guessed from the picture (the camera's details say why)"
WATCH_MS = 200  # so often plugging in and pulling out is looked for
SETTLE_MS = 600  # a camera that was just plugged in needs a moment until it answers
ADDRESS = Qt.ItemDataRole.UserRole


class InputsDialog(QDialog):
    """Lists what is plugged in, as it comes and goes; the layout tells how raw data are packed."""

    chosen = Signal(str, object)  # address, OpenOptions

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("inputsDialog")
        self.setWindowTitle("inputs")
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self.list = named(QListWidget(), "inputsList")
        self.words = label("looking for cameras …", "inputsWords", "dim", wrap=True)
        self.layout_box = named(QComboBox(), "layoutBox")
        self.layout_box.addItem(AS_FOUND, None)
        for name, known in layouts().items():
            self.layout_box.addItem(f"{name}  {known.note}", name)
        self.layout_box.setSizeAdjustPolicy(
            QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon
        )
        self._show_present(desk)
        form = QFormLayout()
        form.addRow("stream layout", self.layout_box)
        self.open_button = button("open", "inputsOpen", self._take, role="primary")
        body = column(self, margin=2 * tokens().space)
        body.addWidget(label("Inputs", "inputsTitle", "title"))
        body.addWidget(self.words)
        body.addWidget(self.list, 1)
        body.addLayout(form)
        body.addLayout(row(None, button("cancel", "inputsCancel", self.reject), self.open_button))
        self.resize(620, 420)
        self.list.currentRowChanged.connect(lambda _: self._current_changed())
        self.list.itemActivated.connect(lambda _: self._take())
        self._watch = CameraWatch()
        self._settled = QTimer(self)
        self._settled.setSingleShot(True)
        self._settled.setInterval(SETTLE_MS)
        self._settled.timeout.connect(self._look_again)
        self._ticks = QTimer(self)
        self._ticks.timeout.connect(self._look_for_changes)
        self._ticks.start(WATCH_MS)
        self._task = self._look()
        self._current_changed()

    def _look(self) -> Task:
        task = Task("looking for inputs", lambda _: list_inputs(), parent=self)
        task.done.connect(self._found)
        task.failed.connect(lambda error: self.words.setText(str(error)))
        task.start()
        return task

    def _look_for_changes(self) -> None:
        if self._watch.poll():
            self._settled.start()
            self._look_again()

    def _look_again(self) -> None:
        if self._task.running:
            self._settled.start()
        else:
            self._task.deleteLater()
            self._task = self._look()

    def _show_present(self, desk: Desk) -> None:
        """Preselect the layout in use."""
        used = desk.opened.options.profile if desk.opened is not None else None
        self.layout_box.setCurrentIndex(max(0, self.layout_box.findData(used)))

    def _found(self, offers: list[InputOffer]) -> None:
        cameras = sum(offer.kind == "camera" for offer in offers)
        self.words.setText(
            f"{cameras} camera{'s' if cameras != 1 else ''} found."
            if cameras
            else "No camera found. Plug one in: it will be listed here."
        )
        present = self._address()
        self.list.clear()
        for offer in offers:
            item = QListWidgetItem(f"{offer.name}  ({offer.address})")
            item.setData(ADDRESS, offer.address)
            item.setToolTip("\n".join(offer.details))
            self.list.addItem(item)
        addresses = [offer.address for offer in offers]
        self.list.setCurrentRow(addresses.index(present) if present in addresses else 0)

    def _address(self) -> str:
        item = self.list.currentItem()
        return str(item.data(ADDRESS)) if item is not None else ""

    def _current_changed(self) -> None:
        address = self._address()
        self.open_button.setEnabled(bool(address))
        self.layout_box.setEnabled(address.startswith("camera:"))

    def _take(self) -> None:
        address = self._address()
        if address:
            profile = self.layout_box.currentData() if self.layout_box.isEnabled() else None
            self.chosen.emit(address, OpenOptions(profile=profile))
            self.accept()

    def done(self, result: int) -> None:
        """Wait for the search before the dialog goes."""
        self._ticks.stop()
        self._settled.stop()
        self._task.wait(10.0)
        self._watch.close()
        super().done(result)
