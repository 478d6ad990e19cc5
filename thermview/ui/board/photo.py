"""A photo of the board, laid under the heat by matching points; how it is blended."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import cv2
import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QObject, QRectF, Qt, Signal
from PySide6.QtGui import QColor, QImage, QImageReader, QPainter, QPen

from thermview.errors import InputError
from thermview.paths import made, save_text
from thermview.session.matching import MM_PER_PX, Fit, Pixel, judge, judge_pairs

if TYPE_CHECKING:
    from thermview.ui.desk import Desk
    from thermview.ui.picture.mapping import Mapping

LONGEST_PX = 2400  # of the photo's longer side; more is not seen beside thermal pixels
SUFFIXES = frozenset({".jpg", ".jpeg", ".webp", ".bmp"})


@dataclass(frozen=True, slots=True)
class Pair:
    """One place in the photo and in the picture; None where it was not clicked yet."""

    photo: Pixel | None
    picture: Pixel | None


def read_photo(path: Path) -> QImage:
    """Return a photo upright and not larger than is needed.

    Raises
    ------
    InputError
        It cannot be read.
    """
    reader = QImageReader(str(path))
    reader.setAutoTransform(True)
    image = reader.read()
    if image.isNull():
        raise InputError(f"{path.name} is no photo that can be read: {reader.errorString()}")
    if max(image.width(), image.height()) > LONGEST_PX:
        image = image.scaled(
            LONGEST_PX,
            LONGEST_PX,
            Qt.AspectRatioMode.KeepAspectRatio,
            Qt.TransformationMode.SmoothTransformation,
        )
    return image.convertToFormat(QImage.Format.Format_RGB32)


class Photo(QObject):
    """The photo, its pairs of points with their undo, blend and split.

    Attributes
    ----------
    blend : float
        0 shows the heat alone, 1 the photo alone.
    split : float
        Share of the picture's width, from the left, that stays heat alone.
    """

    changed = Signal()

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self._desk = desk
        self.path: Path | None = None
        self.image: QImage | None = None
        self.pairs: tuple[Pair, ...] = ()
        self.fit: Fit = judge(())
        self.blend, self.split = 0.5, 0.0
        self.aligning = False
        self._scale = MM_PER_PX  # of the picture, as the fit has it
        self._grey: NDArray[np.uint8] | None = None
        self._undo: list[tuple[Pair, ...]] = []
        self._redo: list[tuple[Pair, ...]] = []
        self._laid: tuple[object, QImage] | None = None

    # ---- coming and going ----------------------------------------------------------------------

    def begin(self, memory: Path | None) -> None:
        """Forget the last photo; take the one up that `memory` tells of."""
        self._forget()
        if memory is not None and (file := memory.with_suffix(".photo.json")).is_file():
            try:
                kept = json.loads(file.read_text(encoding="utf-8"))
                path, pairs = Path(kept["photo"]), tuple(_pair(*entry) for entry in kept["pairs"])
            except (OSError, ValueError, KeyError, TypeError):
                return
            if path.is_file():
                self.load(path, pairs)
        self.changed.emit()

    def _forget(self) -> None:
        self.path = self.image = self._grey = self._laid = None
        self.pairs = ()
        self._undo.clear()
        self._redo.clear()
        self.fit = judge(())

    def load(self, path: Path, pairs: tuple[Pair, ...] = ()) -> None:
        """Read a photo in the background; its points are to be set, unless they are given."""
        session, found = self._desk.session, list[QImage]()

        def take() -> None:
            if not found or self._desk.session is not session:
                return
            self._forget()
            self.path, self.image = path, found[0]
            grey = found[0].convertToFormat(QImage.Format.Format_Grayscale8)
            self._grey = _pixels(grey)
            self.pairs = pairs
            self._settle()

        self._desk.run_aside(f"reading {path.name}", lambda: found.append(read_photo(path)), take)

    def show_picture(self, grey: NDArray[np.uint8]) -> None:
        """Show a camera's next picture, shape (row, column); the points stay where they are."""
        rows, columns = grey.shape
        if self.path is not None or self._grey is None or self._grey.shape != grey.shape:
            self._forget()
        self._grey, self._laid = grey, None
        format_ = QImage.Format.Format_Grayscale8
        self.image = QImage(grey.data, columns, rows, columns, format_).copy()
        self.changed.emit()

    def _settle(self) -> None:
        self._judge()
        opened = self._desk.opened
        if opened is not None and opened.path is not None and self.path is not None:
            text = json.dumps(
                {"photo": str(self.path), "pairs": [[p.photo, p.picture] for p in self.pairs]}
            )
            file = opened.memory.with_suffix(".photo.json")
            self._desk.attempt(lambda: _write(file, text))
        self.changed.emit()

    # ---- points --------------------------------------------------------------------------------

    def click(self, *, photo: Pixel | None = None, picture: Pixel | None = None) -> None:
        """Take a click in one of the two; it completes the first pair that lacks it, or begins one.

        So all can be clicked in the one first, then in the other.
        """
        of = "photo" if picture is None else "picture"
        lacking = (n for n, pair in enumerate(self.pairs) if getattr(pair, of) is None)
        at = next(lacking, len(self.pairs))
        pair = self.pairs[at] if at < len(self.pairs) else Pair(None, None)
        pair = Pair(photo or pair.photo, picture or pair.picture)
        pairs = (*self.pairs[:at], pair, *self.pairs[at + 1 :])
        self.set_pairs(pairs)

    def show_pairs(self, pairs: tuple[Pair, ...]) -> None:
        """Show pairs while one is dragged; `set_pairs` ends it."""
        self.pairs = pairs
        self._judge()
        self.changed.emit()

    def set_pairs(self, pairs: tuple[Pair, ...], *, before: tuple[Pair, ...] | None = None) -> None:
        """Change the pairs; one step to undo."""
        self._undo.append(self.pairs if before is None else before)
        self._redo.clear()
        self.pairs = pairs
        self._settle()

    def undo(self) -> bool:
        """Take the last change back; False while no pairs are being set."""
        return self._step(self._undo, self._redo)

    def redo(self) -> bool:
        """Do it again; False while no pairs are being set."""
        return self._step(self._redo, self._undo)

    def _step(self, source: list[tuple[Pair, ...]], other: list[tuple[Pair, ...]]) -> bool:
        if self.aligning and source:
            other.append(self.pairs)
            self.pairs = source.pop()
            self._settle()
        return self.aligning

    def _judge(self) -> None:
        pairs = [(p.photo, p.picture) for p in self.pairs if p.photo and p.picture]
        self._laid = None
        self._scale = self._desk.display.mm_per_px or MM_PER_PX
        self.fit = judge_pairs(pairs, "the photo", self._desk.display.mm_per_px)

    def to_photo(self) -> NDArray[np.float64] | None:
        """Return the homography from the picture's pixels to the photo's, None without one."""
        if self.fit.view is None:
            return None
        return self.fit.view.matrix @ np.diag([self._scale, -self._scale, 1.0])

    @property
    def seen(self) -> bool:
        """Tell whether the photo is blended into the picture."""
        return self.fit.view is not None and self._grey is not None and self.blend > 0.0

    # ---- how it looks --------------------------------------------------------------------------

    def set_blend(self, blend: float) -> None:
        """Choose how much of the photo is seen, 0 to 1."""
        self.blend = blend
        self.changed.emit()

    def set_split(self, split: float) -> None:
        """Choose which share of the picture, from the left, stays heat alone."""
        self.split = split
        self.changed.emit()

    def draw(self, pen: QPainter, mapping: Mapping) -> None:
        """Blend the photo, in grey so that colours mean heat only, over the picture."""
        to_photo = self.to_photo()
        if to_photo is None or self._grey is None or not self.seen:
            return
        key = (mapping, self.split)
        if self._laid is None or self._laid[0] != key:
            self._laid = (key, _laid(self._grey, to_photo, mapping))
        left = self.split * mapping.widget[0]
        pen.save()
        pen.setClipRect(
            QRectF(left, 0, mapping.widget[0] - left, mapping.widget[1]),
            Qt.ClipOperation.IntersectClip,
        )
        pen.setOpacity(self.blend)
        pen.drawImage(0, 0, self._laid[1])
        pen.restore()
        if self.split > 0.0:
            pen.setPen(QPen(QColor("#ffffff"), 1.5))
            pen.drawLine(round(left), 0, round(left), round(mapping.widget[1]))


def _laid(grey: NDArray[np.uint8], to_photo: NDArray[np.float64], mapping: Mapping) -> QImage:
    """Return the photo as it lies in the widget, clear where it has no pixels."""
    transform = mapping.transform()
    to_widget = np.array(
        [
            [transform.m11(), transform.m21(), transform.m31()],
            [transform.m12(), transform.m22(), transform.m32()],
            [0.0, 0.0, 1.0],
        ]
    )
    # OpenCV's pixel centres are whole numbers, ours lie at a half
    half = np.array([[1.0, 0.0, 0.5], [0.0, 1.0, 0.5], [0.0, 0.0, 1.0]])
    back = np.linalg.inv(half) @ to_photo @ np.linalg.inv(to_widget) @ half
    size = (round(mapping.widget[0]), round(mapping.widget[1]))
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    shades = cv2.warpPerspective(grey, back, size, flags=flags)
    cover = cv2.warpPerspective(np.full_like(grey, 255), back, size, flags=flags)
    pixels = np.ascontiguousarray(np.dstack([shades, shades, shades, cover]))
    format_ = QImage.Format.Format_ARGB32_Premultiplied
    return QImage(pixels.data, size[0], size[1], 4 * size[0], format_).copy()


def _pixels(grey: QImage) -> NDArray[np.uint8]:
    rows = np.frombuffer(grey.constBits(), np.uint8).reshape(grey.height(), grey.bytesPerLine())
    return rows[:, : grey.width()].copy()


def _pair(photo: list[float] | None, picture: list[float] | None) -> Pair:
    return Pair(_pixel(photo), _pixel(picture))


def _pixel(value: list[float] | None) -> Pixel | None:
    return None if value is None else (float(value[0]), float(value[1]))


def _write(path: Path, text: str) -> None:
    made(path.parent)
    save_text(path, text)
