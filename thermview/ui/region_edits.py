"""What is done to the selected regions, from buttons, menus and keys alike."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QObject
from PySide6.QtWidgets import QMenu

from thermview.regions import Region
from thermview.ui.desk import Desk


class RegionEdits(QObject):
    """Duplicate, mirror, shift, subtract, delete."""

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self._desk = desk
        self.ask_shift: Callable[[], tuple[float, float] | None] = lambda: (16.0, 0.0)

    def _chosen(self) -> list[str]:
        chosen = [region.id for region in self._desk.selected_regions()]
        if not chosen:
            self._desk.say("info", "select a region first, on the picture or in the list")
        return chosen

    def duplicate(self) -> None:
        """Copy the selected a little aside."""
        if chosen := self._chosen():
            self._take(self._desk.document.duplicate(chosen))

    def mirror_x(self) -> None:
        """Copy the selected across the picture's upright middle line."""
        session = self._desk.session
        if session is not None and (chosen := self._chosen()):
            axis = session.info.width_px / 2
            self._take(self._desk.document.copy_mirrored_x(chosen, axis))

    def mirror_y(self) -> None:
        """Copy the selected across the picture's level middle line."""
        session = self._desk.session
        if session is not None and (chosen := self._chosen()):
            axis = session.info.height_px / 2
            self._take(self._desk.document.copy_mirrored_y(chosen, axis))

    def shift(self) -> None:
        """Copy the selected to an equal channel some pixels away."""
        if (chosen := self._chosen()) and (by := self.ask_shift()) is not None:
            self._take(self._desk.document.copy_shifted(chosen, *by))

    def difference(self) -> None:
        """Add the curve of the first selected less the second."""
        chosen = [region.id for region in self._desk.selected_regions()]
        if len(chosen) != 2:
            self._desk.say("info", "select exactly two regions to subtract one from the other")
            return
        self._desk.document.add_difference(*chosen)

    def delete(self) -> None:
        """Delete the selected regions and differences."""
        if self._desk.selected:
            self._desk.document.remove(self._desk.selected)
        elif self._desk.selected_mark is not None:
            self._desk.remove_mark(self._desk.selected_mark)

    def fill_menu(self, menu: QMenu) -> None:
        """Add the actions to a menu."""
        menu.addAction("duplicate", self.duplicate)
        menu.addAction("mirrored copy, left to right", self.mirror_x)
        menu.addAction("mirrored copy, top to bottom", self.mirror_y)
        menu.addAction("shifted copy …", self.shift)
        menu.addAction("difference of two", self.difference)
        menu.addSeparator()
        menu.addAction("delete", self.delete)

    def _take(self, copies: list[Region]) -> None:
        self._desk.select(copy.id for copy in copies)
