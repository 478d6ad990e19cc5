"""What is seen while nothing is open: inputs found, last recordings, the worked example."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QFrame, QHBoxLayout, QScrollArea, QSizePolicy, QVBoxLayout, QWidget

from thermview.cautions import BOARDS_HURT
from thermview.paths import sample_recordings
from thermview.sources import InputOffer, list_inputs
from thermview.ui.desk import Desk
from thermview.ui.tasks import Task
from thermview.ui.theme import tokens
from thermview.ui.widgets import button, column, label, named, panel, row, tool

EXAMPLES = (
    ("short", "a 3.3 V rail shorted by a ceramic capacitor, with a mirroring can beside it"),
    ("cold-drivers", "a group of driver chips that stays cold"),
    ("good", "the good board powering up"),
)
HEAD_PX = 32  # as high as the button in one of the heads
WIDEST_PX = 1280  # lines longer than this are hard to read


class StartPage(QScrollArea):
    """Ways to begin; a file may also be dropped anywhere."""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        named(self, "startPage")
        self._desk = desk
        self._task: Task | None = None
        self.setWidgetResizable(True)
        self.setAlignment(Qt.AlignmentFlag.AlignHCenter)
        self._page = named(QWidget(), "startContent", "page")
        self._page.setMaximumWidth(WIDEST_PX)
        self.setWidget(self._page)
        outer = column(self._page, margin=3 * tokens().space)
        outer.setSpacing(2 * tokens().space)
        outer.addWidget(label("thermview", "startTitle", "title"))
        outer.addWidget(
            label(
                "See which part of a board warms, and keep the evidence. Open an input or a "
                "recording, or drop a file anywhere in this window.",
                "startIntro",
                "dim",
                wrap=True,
            )
        )
        columns = QHBoxLayout()
        columns.setSpacing(2 * tokens().space)
        self._inputs = self._section(columns, "inputs", "inputs found")
        self._recent = self._section(columns, "recent", "last recordings")
        self._example = self._section(columns, "example", "worked example (simulated)")
        outer.addLayout(columns)
        outer.addWidget(label(f"⚠ {BOARDS_HURT}", "startCaution", "dim", wrap=True))
        outer.addStretch(1)
        self._fill_examples()

    def _section(self, columns: QHBoxLayout, name: str, heading: str) -> QVBoxLayout:
        frame, layout = panel(f"start_{name}")
        title = label(heading, f"start_{name}_heading", "heading")
        title.setMinimumHeight(HEAD_PX)
        head = row(title, None)
        if name == "inputs":
            head.addWidget(tool("refresh", "refreshInputs", self.look_again, tip="look again"))
        layout.addLayout(head)
        inner = column()
        layout.addLayout(inner)
        layout.addStretch(1)
        frame.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        columns.addWidget(frame, 1)
        return inner

    def refresh(self) -> None:
        """Look for inputs and recordings anew."""
        self._fill_recent()
        self.look_again()

    def look_again(self) -> None:
        """Look for cameras, in the background: asking a device may take seconds."""
        if self._task is not None:
            return
        _clear(self._inputs)
        self._inputs.addWidget(label("looking for cameras …", "inputsBusy", "dim"))
        self._task = Task("looking for inputs", lambda _: list_inputs(), owner=self)
        self._task.done.connect(self._found)
        self._task.failed.connect(lambda error: self._found([], str(error)))
        self._task.start()

    def _found(self, offers: list[InputOffer], trouble: str = "") -> None:
        self._task = None
        _clear(self._inputs)
        if not any(offer.address.startswith("camera:") for offer in offers):
            words = trouble or "No camera found. Plug one in and look again."
            self._inputs.addWidget(label(words, "noCamera", "dim", wrap=True))
        for offer in offers:
            name, _, what = offer.name.partition(": ")
            story = offer.address.partition(":")[2]
            if offer.kind == "simulated":
                self._offer(self._inputs, offer.address, f"{name}, {story}", what)
            else:
                self._offer(self._inputs, offer.address, offer.name, " · ".join(offer.details))

    def _fill_recent(self) -> None:
        _clear(self._recent)
        recent = self._desk.settings.recent()
        if not recent:
            self._recent.addWidget(label("None yet.", "noRecent", "dim"))
        for text in recent:
            path = Path(text)
            self._offer(self._recent, text, path.name, str(path.parent))

    def _fill_examples(self) -> None:
        folder = sample_recordings()
        for stem, words in EXAMPLES:
            path = folder / f"{stem}.h5"
            if path.is_file():
                self._offer(self._example, str(path), path.stem, words)
        if self._example.count() == 0:
            words = "The example recordings are not installed."
            self._example.addWidget(label(words, "noExample", "dim", wrap=True))

    def _offer(self, into: QVBoxLayout, address: str, name: str, details: str) -> None:
        made = button(name, f"open_{address}", lambda: self._desk.open(address), tip=address)
        made.setProperty("address", address)
        into.addWidget(made)
        into.addWidget(label(details, f"details_{address}", "small", wrap=True))

    def shut(self) -> None:
        """Wait for what runs in the background."""
        if self._task is not None:
            self._task.wait(10.0)


def _clear(layout: QVBoxLayout) -> None:
    while item := layout.takeAt(0):
        widget = item.widget()
        if isinstance(widget, QFrame | QWidget):
            widget.hide()
            widget.deleteLater()
