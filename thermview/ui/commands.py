"""What the window can be told to do, from keys, menus, buttons and dropped files alike."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject
from PySide6.QtWidgets import (
    QAbstractButton,
    QApplication,
    QInputDialog,
    QMenu,
)

from thermview.frames import Frame, MarkKind
from thermview.session.states import EventKind, SessionEvent
from thermview.ui.board.panel import PHOTO
from thermview.ui.dialogs.faults import FaultTableDialog
from thermview.ui.dialogs.keys import KeysDialog
from thermview.ui.dialogs.scene import SceneDialog
from thermview.ui.dialogs.shift import ShiftDialog
from thermview.ui.dialogs.supply import SupplyDialog
from thermview.ui.dialogs.triggers import TriggersDialog
from thermview.ui.display import LevelMode
from thermview.ui.dress import dress
from thermview.ui.open_commands import OpenCommands
from thermview.ui.panels.steps import STEPS
from thermview.ui.region_edits import RegionEdits
from thermview.ui.save_commands import SaveCommands
from thermview.ui.theme import THEMES
from thermview.ui.widgets import set_icon
from thermview.units import TemperatureUnit

if TYPE_CHECKING:
    from thermview.ui.window import MainWindow


class Commands(QObject):
    """One method for each thing; the desk does the work, dialogs ask what must be asked."""

    def __init__(self, window: MainWindow) -> None:
        super().__init__(window)
        self._window = window
        self._desk = window.desk
        self.files = OpenCommands(window)
        self.save = SaveCommands(window)
        self.edits = RegionEdits(self._desk)
        self.edits.ask_shift = self._ask_shift
        self._desk.event_taken.connect(self._take_event)

    def handlers(self) -> dict[str, Callable[[], object]]:
        """Return what each key action does, by its name in `keys.ACTIONS`."""
        desk, edits = self._desk, self.edits
        return {
            "mark": desk.mark,
            "zero": desk.zero_now,
            "power_on": lambda: desk.mark(MarkKind.POWER_ON),
            "power_off": lambda: desk.mark(MarkKind.POWER_OFF),
            "fault_appears": lambda: desk.mark(MarkKind.FAULT_APPEARS),
            "fault_gone": lambda: desk.mark(MarkKind.FAULT_GONE),
            "meant_warm": desk.findings.meant_warm.toggle,
            "matt_patch": desk.findings.toggle_matt_patch,
            "still": self.save.still,
            "record": desk.record_toggle,
            "shutter": self._shutter,
            "stop": desk.stop,
            "tone": self._window.tone.toggle,
            "play": desk.play_pause,
            "back": lambda: desk.step(-1),
            "forward": lambda: desk.step(1),
            "next_mark": lambda: desk.next_mark(1),
            "previous_mark": lambda: desk.next_mark(-1),
            "start": lambda: desk.seek(0),
            "end": desk.to_end,
            "view": self.toggle_view,
            "level": self.toggle_level,
            "turn": desk.display.turn,
            "mirror": desk.display.mirror,
            "copy": self.save.copy_picture,
            "undo": self.undo,
            "redo": self.redo,
            "delete": edits.delete,
            "duplicate": edits.duplicate,
            "rename": self._window.picture.start_rename,
            "difference": edits.difference,
            "open": self.files.open,
            "save_regions": self.save.save_regions,
            "triggers": self.triggers,
            "find_part": self._find_part,
            "match": self._match,
            "photo": lambda: self._window.board.open_page(PHOTO),
            **{f"step_{step.name}": partial(self._toggle_step, step.name) for step in STEPS},
            "help": self.show_keys,
            "quit": self._window.close,
        }

    def step_actions(self) -> dict[str, tuple[str, str, Callable[[], object]]]:
        """Return words, icon and action of the buttons that the steps name."""
        desk = self._desk
        return {
            "open": ("open …", "folder-open", self.files.open),
            "note": ("note …", "note-edit-outline", self.note),
            "zero": ("zero now", "numeric-0-circle-outline", desk.zero_now),
            "power_on": ("power on", "power", lambda: desk.mark(MarkKind.POWER_ON)),
            "power_off": ("power off", "power-off", lambda: desk.mark(MarkKind.POWER_OFF)),
            "fault_appears": (
                "fault appears",
                "alert-outline",
                lambda: desk.mark(MarkKind.FAULT_APPEARS),
            ),
            "fault_gone": (
                "fault gone",
                "check-circle-outline",
                lambda: desk.mark(MarkKind.FAULT_GONE),
            ),
            "supply": ("supply …", "cable-data", self.supply),
            "triggers": ("triggers …", "bell-outline", self.triggers),
            "camera": ("check the camera …", "camera-iris", self._camera),
            "shiny": ("find shiny places …", "texture", self._shiny),
            "still": ("still picture", "camera-outline", self.save.still),
            "curves": ("export curves …", "chart-line", self.save.export_curves),
            "report": ("write a report …", "file-document-outline", self.save.write_report),
            "faults": ("fault table …", "table", self.fault_table),
        }

    def undo(self) -> None:
        """Take the last change back: of the comparison's points while they are set, else any."""
        if not self._window.compare.page.matching.undo():
            self._desk.undo()

    def redo(self) -> None:
        """Do it again."""
        if not self._window.compare.page.matching.redo():
            self._desk.redo()

    def _toggle_step(self, name: str) -> None:
        steps = self._window.steps
        steps.choose("" if steps.current is not None and steps.current.name == name else name)

    def _find_part(self) -> None:
        self._window.board.find_part()

    def _match(self) -> None:
        self._window.board.match()

    def _shutter(self) -> None:
        self._window.optics.work_shutter()

    def _camera(self) -> None:
        self._window.optics.camera()

    def _shiny(self) -> None:
        self._window.optics.find_shiny()

    def fill_menu(self, menu: QMenu) -> None:
        """Build the menu of everything."""
        actions = self._window.actions_
        menu.addAction("how this file is read …", self.files.read_as)
        menu.addSeparator()
        menu.addAction(actions["record"])
        menu.addAction("record into …", self.save.record_into)
        menu.addAction("keep the live pictures in memory …", self.save.save_history)
        menu.addAction("keep as a known-good board …", self._window.compare.ask_keep)
        menu.addSeparator()
        export = menu.addMenu("export")
        export.addAction("curves (CSV) …", self.save.export_curves)
        export.addAction("report (HTML, PDF) …", self.save.write_report)
        export.addAction("this frame (PNG, TIFF, CSV, NPZ) …", self.save.export_frame)
        export.addAction("picture as shown (PNG) …", self.save.save_picture)
        export.addAction("copy the picture", self.save.copy_picture)
        menu.addAction(actions["save_regions"])
        menu.addAction("load regions …", self.files.load_regions)
        menu.addSeparator()
        menu.addAction("scene: emissivity and reflections …", self.scene)
        self._window.optics.fill_menu(menu.addMenu("camera and surfaces"))
        self._window.board.fill_menu(
            menu.addMenu("board"), [actions[name] for name in ("find_part", "match", "photo")]
        )
        menu.addAction(actions["triggers"])
        menu.addAction("fault table …", self.fault_table)
        menu.addAction("supply: leads and pulses …", self.supply)
        menu.addSeparator()
        units = menu.addMenu("unit")
        for unit in TemperatureUnit:
            units.addAction(unit.symbol, partial(self.set_unit, unit))
        themes = menu.addMenu("appearance")
        for name in THEMES:
            themes.addAction(name, partial(self.set_theme, name))
        menu.addAction(actions["help"])
        menu.addSeparator()
        menu.addAction(actions["quit"])

    # ---- regions, marks, tables -----------------------------------------------------------

    def note(self) -> None:
        """Write a note at the shown moment."""
        if self._desk.session is None:
            self._desk.say("info", "open a recording or an input first; notes are kept with it")
            return
        text, taken = QInputDialog.getText(self._window, "note", "note at the shown moment")
        if taken and text.strip():
            self._desk.mark(MarkKind.NOTE, text.strip())

    def scene(self) -> None:
        """State what is known of the scene."""
        session = self._desk.session
        if session is None or session.info.scale.relative:
            self._desk.say("info", "only temperatures depend on the scene; open some first")
            return
        dialog = SceneDialog(self._desk, session.scene, self._window)
        dialog.open()

    def triggers(self) -> None:
        """Show the triggers."""
        dialog = TriggersDialog(self._desk, self._window)
        dialog.open()

    def supply(self) -> None:
        """State what is known of the supply: its leads, and its period where it is pulsed."""
        if self._desk.session is None:
            self._desk.say("info", "open a recording or an input first")
            return
        SupplyDialog(self._desk, self._window).open()

    def fault_table(self) -> None:
        """Show at which temperatures the fault came and went."""
        dialog = FaultTableDialog(self._desk, self._window)
        dialog.open()

    def show_keys(self) -> None:
        """Show and change the keys."""
        dialog = KeysDialog(self._window.keys, self._window)
        dialog.changed.connect(self._window.actions_.rebind)
        dialog.open()

    def _ask_shift(self) -> tuple[float, float] | None:
        board = self._desk.board
        mm_per_px = board.view.mm_per_px if board is not None else self._desk.display.mm_per_px
        dialog = ShiftDialog(mm_per_px, self._window)
        taken = dialog.exec()
        by = dialog.shift_px()
        dialog.deleteLater()
        return by if taken else None

    # ---- how it looks ---------------------------------------------------------------------

    def toggle_view(self) -> None:
        """Show temperature, rise, heat sources in turn, as far as they are known."""
        self._desk.attempt(self._desk.layers.next)

    def toggle_level(self) -> None:
        """Freeze level and span, or let them follow the picture again."""
        display = self._desk.display
        frozen = display.mode is LevelMode.AUTO
        display.set_mode(LevelMode.FROZEN if frozen else LevelMode.AUTO)
        self._desk.say("info", "level frozen" if frozen else "level follows the picture")

    def set_unit(self, unit: TemperatureUnit) -> None:
        """Choose the unit on screen."""
        self._desk.display.set_unit(unit)
        self._desk.settings.set("unit", unit.value)

    def set_theme(self, name: str) -> None:
        """Choose dark or light."""
        self._desk.settings.set("theme", name)
        application = QApplication.instance()
        assert isinstance(application, QApplication)
        dress(application, name)
        for made in self._window.findChildren(QAbstractButton):
            set_icon(made)
        self._desk.scale_changed.emit()
        self._desk.curves_changed.emit()

    def _take_event(self, event: SessionEvent) -> None:
        if isinstance(event.data, Frame):
            self.save.still_of(event.data)
        elif event.kind is EventKind.TONE:
            QApplication.beep()
