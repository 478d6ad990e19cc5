"""Inputs to choose from: cameras with their stream layout, and simulated boards."""

from __future__ import annotations

from PySide6.QtCore import QSignalBlocker, Qt, QTimer, Signal
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
from thermview.sources.kept_layouts import forget_layout, is_layout_kept
from thermview.sources.layouts import layouts
from thermview.ui.desk import Desk
from thermview.ui.tasks import Task
from thermview.ui.theme import tokens
from thermview.ui.widgets import button, column, label, named, row

AS_FOUND = "guessed from the picture (the camera's details say why)"
AS_KEPT = "as kept for this very camera"
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
        self.details = label("", "inputsDetails", "small", wrap=True)
        self.layout_box = named(QComboBox(), "layoutBox")
        self.layout_box.addItem(AS_FOUND, None)
        for name, known in layouts().items():
            self.layout_box.addItem(f"{name}  {known.note}", name)
        self.layout_box.setSizeAdjustPolicy(
            QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon
        )
        self.forget = button("forget", "inputsForget", self._forget)
        self.forget.setToolTip("guess this camera's layout from its picture again")
        self._desk = desk
        self._offers: dict[str, InputOffer] = {}
        self._present = ""
        form = QFormLayout()
        choice = row(self.layout_box, self.forget)
        choice.setStretch(0, 1)
        form.addRow("stream layout", choice)
        self.open_button = button("open", "inputsOpen", self._take, role="primary")
        body = column(self, margin=2 * tokens().space)
        body.addWidget(label("Inputs", "inputsTitle", "title"))
        body.addWidget(self.words)
        body.addWidget(self.list, 1)
        body.addWidget(self.details)
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
        task = Task("looking for inputs", lambda _: list_inputs(), owner=self)
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
            self._task = self._look()

    def _found(self, offers: list[InputOffer]) -> None:
        cameras = sum(offer.kind == "camera" for offer in offers)
        self.words.setText(
            f"{cameras} camera{'s' if cameras != 1 else ''} found."
            if cameras
            else "No camera found. Plug one in: it will be listed here."
        )
        self._offers = {offer.address: offer for offer in offers}
        present = self._address()
        with QSignalBlocker(self.list):  # what is chosen stays chosen while the list is made anew
            self.list.clear()
            for offer in offers:
                item = QListWidgetItem(f"{offer.name}  ({offer.address})")
                item.setData(ADDRESS, offer.address)
                item.setToolTip("\n".join(offer.details))
                self.list.addItem(item)
            addresses = list(self._offers)
            self.list.setCurrentRow(addresses.index(present) if present in addresses else 0)
        self._current_changed()

    def _address(self) -> str:
        item = self.list.currentItem()
        return str(item.data(ADDRESS)) if item is not None else ""

    def _current_changed(self) -> None:
        address = self._address()
        self.open_button.setEnabled(bool(address))
        self.layout_box.setEnabled(address.startswith("camera:"))
        if address != self._present:
            self._present = address
            self.layout_box.setCurrentIndex(max(0, self.layout_box.findData(self._used(address))))
        offer = self._offers.get(address)
        self.details.setText("\n".join(offer.details) if offer is not None else "")
        self.details.setVisible(bool(self.details.text()))
        self._show_kept()

    def _used(self, address: str) -> str | None:
        """Return the layout that was chosen for what is open, if that is this address."""
        opened = self._desk.opened
        return opened.options.profile if opened is not None and opened.address == address else None

    def _show_kept(self) -> None:
        offer = self._offers.get(self._address())
        kept = offer is not None and is_layout_kept(offer.serial)
        self.layout_box.setItemText(0, AS_KEPT if kept else AS_FOUND)
        self.forget.setVisible(kept)

    def _forget(self) -> None:
        forget_layout(self._offers[self._address()].serial)
        self._show_kept()

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
