"""What the desk knows of the board: parts, matching points with their undo, what is lit."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject, Signal

from thermview.board import (
    BoardView,
    Landmark,
    Part,
    Place,
    format_landmarks,
    format_placement,
    load_landmarks,
    parse_landmarks,
    part_outline_px,
    parts_seen,
)
from thermview.errors import InputError
from thermview.regions import Polygon, Region, RegionSet
from thermview.session.boards import Board
from thermview.session.matching import Fit, Grade, Point, judge, named
from thermview.ui.board.memory import keep
from thermview.ui.board.photo import Photo

if TYPE_CHECKING:
    from thermview.ui.desk import Desk

Points = tuple[Point, ...]


class BoardKeeper(QObject):
    """The one holder of parts and points; the desk's board follows from them.

    Attributes
    ----------
    parts : tuple of Part
        All that are known, on both sides, whether or not their place in the picture is.
    places : tuple of Place
        Holes and the like that a part map names.
    points : tuple of Point
    fit : Fit
        What the points are worth.
    lit : frozenset of str
        Designators that the picture brings out.
    chosen : str
        The designator that was chosen last, or empty.
    matching : bool
        Points are being set: undo and redo are theirs.
    photo : Photo
        Laid under the heat.
    """

    changed = Signal()  # parts or points
    lit_changed = Signal()

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self._desk = desk
        self.parts: tuple[Part, ...] = ()
        self.places: tuple[Place, ...] = ()
        self.points: Points = ()
        self.fit: Fit = judge(())
        self.lit: frozenset[str] = frozenset()
        self.chosen = ""
        self.matching = False
        self.photo = Photo(desk)
        self._told: Board | None = None
        self._refined: tuple[Points, float] | None = None  # and the uncertainty that remains, mm
        self._undo: list[Points] = []
        self._redo: list[Points] = []

    # ---- coming and going ----------------------------------------------------------------------

    def begin(self) -> None:
        """Take over what was opened."""
        opened, board = self._desk.opened, self._desk.board
        self._undo.clear()
        self._redo.clear()
        self.lit, self.chosen, self._told = frozenset(), "", board
        self.parts, self.places, self.points = (), (), ()
        if board is not None:
            self.parts = board.parts
            if board.texts is not None:
                self.points = named(parse_landmarks(board.texts[1]), board.parts)
        elif opened is not None:
            self.parts, landmarks = opened.placed
            self.points = named(landmarks, self.parts)
        self.fit = self._judged()
        kept = opened is not None and opened.path is not None
        self.photo.begin(opened.memory if opened is not None and kept else None)
        self.changed.emit()
        self.lit_changed.emit()

    def take_parts(
        self,
        parts: tuple[Part, ...],
        places: tuple[Place, ...] = (),
        points: Points | None = None,
    ) -> None:
        """Use another list of parts; the points stay, for they are of the board."""
        self.parts, self.places = parts, places
        kept = self.points if points is None else points
        self.points = named([point.landmark() for point in kept], parts)
        self._undo.clear()
        self._redo.clear()
        self.light(())
        self._settle()

    def view_of(self, points: Points) -> BoardView:
        """Return the view that points give.

        Raises
        ------
        InputError
            They give none.
        """
        fit = judge(points)
        if fit.view is None:
            raise InputError(fit.words)
        return fit.view

    # ---- points --------------------------------------------------------------------------------

    def show_points(self, points: Sequence[Point]) -> None:
        """Show points while they are dragged; `set_points` ends it."""
        self.points = tuple(points)
        self.fit = self._judged()
        self.changed.emit()

    def set_points(self, points: Sequence[Point], *, before: Points | None = None) -> None:
        """Change the points; one step to undo, back to `before` (else to those there were)."""
        step = self.points if before is None else before
        if tuple(points) == step:
            self.show_points(points)
            return
        self._undo.append(step)
        self._redo.clear()
        self.points = tuple(points)
        self._settle()

    def set_refined(self, points: Sequence[Point], remain_mm: float) -> None:
        """Take points that were moved onto the picture's own edges; one step to undo."""
        self._refined = (tuple(points), remain_mm)
        self.set_points(points)

    def _judged(self) -> Fit:
        """Return what the points are worth; refined ones know what uncertainty remains."""
        refined = self._refined
        fresh = refined is not None and refined[0] == self.points
        return judge(self.points, refined[1] if refined is not None and fresh else None)

    def undo(self) -> bool:
        """Take the last change of the points back; False while none are being set."""
        return self.photo.undo() or self._step(self._undo, self._redo, "back")

    def redo(self) -> bool:
        """Do it again; False while none are being set."""
        return self.photo.redo() or self._step(self._redo, self._undo, "again")

    def _step(self, source: list[Points], other: list[Points], words: str) -> bool:
        if not self.matching:
            return False
        if source:
            other.append(self.points)
            self.points = source.pop()
            self._settle()
        else:
            self._desk.say("info", f"no matching point to take {words}")
        return True

    def load_points(self, path: Path) -> None:
        """Read matching points from their file.

        Raises
        ------
        InputError
            They are none.
        """
        self.set_points(named(load_landmarks(path), self.parts))

    def set_matching(self, on: bool) -> None:
        """Begin or end the setting of points."""
        self.matching = on
        self._tell_findings()
        self.lit_changed.emit()

    def _tell_findings(self) -> None:
        """Let what heats be looked for on the new board, once its points are all set."""
        board = self._desk.board
        if not self.matching and board is not self._told and self._desk.session is not None:
            self._told = board
            self._desk.findings.begin()

    def _settle(self) -> None:
        """Judge the points, let the desk's board follow, and remember all of it."""
        self.fit = self._judged()
        self._desk.set_board(self._board())
        self._tell_findings()
        opened = self._desk.opened
        if opened is not None and opened.path is not None:
            stem = opened.memory
            parts, marks = self.parts, [point.landmark() for point in self.points]
            self._desk.attempt(lambda: keep(stem, parts, marks))
        self.changed.emit()

    def _board(self) -> Board | None:
        view = self.fit.view
        if view is None:
            return None
        self._desk.display.set_mm_per_px(view.mm_per_px)
        if not self.parts:
            return None
        try:
            parts_seen(self.parts, view)
        except InputError:
            other = "the points show the other side than the listed parts are on; is one swapped?"
            self.fit = replace(self.fit, grade=Grade.REFUSED, words=other, view=None)
            return None
        return Board(self.parts, view, self.texts())

    def texts(self) -> tuple[str, str]:
        """Return placement list and landmarks in the contract's forms."""
        return format_placement(self.parts), format_landmarks(self.landmarks())

    def landmarks(self) -> list[Landmark]:
        """Return the points without their names."""
        return [point.landmark() for point in self.points]

    # ---- what is lit, and regions --------------------------------------------------------------

    def light(self, designators: Iterable[str], chosen: str = "") -> None:
        """Bring parts out on the picture, and one of them most."""
        self.lit, self.chosen = frozenset(designators), chosen
        self.lit_changed.emit()

    def part(self, designator: str) -> Part | None:
        """Return a part by its designator."""
        return next((part for part in self.parts if part.designator == designator), None)

    def fly_to(self, designator: str) -> None:
        """Bring a part to the middle of the picture, where its place is known."""
        part, board = self.part(designator), self._desk.board
        if part is not None and board is not None:
            x, y = part_outline_px(part, board.view).mean(axis=0).tolist()
            self._desk.flown_to.emit(x, y)

    def make_regions(self, designators: Iterable[str]) -> list[Region]:
        """Draw a region around each part that is seen; one step to undo. They become selected."""
        board, session = self._desk.board, self._desk.session
        if board is None or session is None:
            self._desk.say("info", "set matching points first: then a part's outline is known")
            return []
        wanted, document = set(designators), self._desk.document
        seen = [p for p in parts_seen(board.parts, board.view) if p.designator in wanted]
        known = {region.name: region for region in document.current.regions}
        info = session.info
        regions, new = [], []
        for part in seen:
            if part.designator in known:
                regions.append(known[part.designator])
                continue
            outline = part_outline_px(part, board.view)
            if not _within(outline.mean(axis=0).tolist(), info.width_px, info.height_px):
                continue
            shape = Polygon(tuple((round(x, 2), round(y, 2)) for x, y in outline.tolist()))
            new.append(Region(part.designator, shape))
        if new:
            now = document.current
            document.load(RegionSet((*now.regions, *new), now.differences))
        if not (regions or new):
            self._desk.say("info", "none of these parts is in the picture")
        self._desk.select(region.id for region in (*regions, *new))
        return new


def _within(at: Sequence[float], width: int, height: int) -> bool:
    return 0 <= at[0] < width and 0 <= at[1] < height
