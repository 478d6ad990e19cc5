"""Landmarks, and the view that they give: board millimetres to the picture's pixels and back."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from thermview.board.parts import Part
from thermview.board.text import read_text
from thermview.errors import InputError
from thermview.paths import save_text

Floats = NDArray[np.float64]

_SIZE_LIMIT = 2**20  # bytes: a thousand landmarks have a tenth of it


@dataclass(frozen=True, slots=True)
class Landmark:
    """One place known on the board (mm, y up) and in the picture (pixels, y down)."""

    board_mm: tuple[float, float]
    pixel: tuple[float, float]


def load_landmarks(path: Path | str) -> tuple[Landmark, ...]:
    """Read landmarks from their JSON file.

    Raises
    ------
    InputError
        The file is missing or is not in the landmarks' form.
    """
    path = Path(path)
    return parse_landmarks(read_text(path, "landmarks file", _SIZE_LIMIT), path.name)


def parse_landmarks(text: str, name: str = "the landmarks file") -> tuple[Landmark, ...]:
    """Read landmarks from JSON text; see `load_landmarks`."""
    try:
        entries = json.loads(text)["landmarks"]
        landmarks = tuple(Landmark(_pair(e["board_mm"]), _pair(e["pixel"])) for e in entries)
    except (ValueError, KeyError, TypeError, RecursionError):
        raise InputError(
            f'{name} is not {{"landmarks": [{{"board_mm": [x, y], "pixel": [u, v]}}, …]}} '
            "with finite numbers"
        ) from None
    return landmarks


def format_landmarks(landmarks: Sequence[Landmark]) -> str:
    """Write landmarks as JSON text that `parse_landmarks` reads."""
    entries = [{"board_mm": list(m.board_mm), "pixel": list(m.pixel)} for m in landmarks]
    return json.dumps({"landmarks": entries})


def save_landmarks(path: Path | str, landmarks: Sequence[Landmark]) -> None:
    """Write landmarks to a JSON file, whole or not at all."""
    save_text(Path(path), format_landmarks(landmarks) + "\n")


def _pair(value: Sequence[float]) -> tuple[float, float]:
    x, y = (float(v) for v in value)
    if not (math.isfinite(x) and math.isfinite(y)):
        raise ValueError(value)
    return x, y


@dataclass(frozen=True, slots=True, eq=False)
class BoardView:
    """How the camera sees the board's plane.

    Attributes
    ----------
    matrix : ndarray of float64, shape (3, 3)
        Homography from board (mm, y up) to pixels (y down).
    mm_per_px : float
        A pixel's size on the board at the middle of the landmarks (root of its area).
    residual_mm : float
        Root mean square misfit of the landmarks on the board; 0 with just four.
    centre_mm : (float, float)
        The middle of the landmarks.
    """

    matrix: Floats
    mm_per_px: float
    residual_mm: float
    centre_mm: tuple[float, float] = (0.0, 0.0)

    def board_to_pixel(self, board_mm: ArrayLike) -> Floats:
        """Map points, shape (…, 2), mm on the board to pixels."""
        return _map(self.matrix, board_mm)

    def pixel_to_board(self, pixel: ArrayLike) -> Floats:
        """Map points, shape (…, 2), pixels to mm on the board."""
        return _map(_inverse(self.matrix), pixel)


def _map(matrix: Floats, points: ArrayLike) -> Floats:
    xy = np.asarray(points, dtype=np.float64)
    mapped: Floats = xy @ matrix[:, :2].T + matrix[:, 2]
    return mapped[..., :2] / mapped[..., 2:]


def _inverse(matrix: Floats) -> Floats:
    return np.linalg.inv(matrix).astype(np.float64)


def view_of(matrix: Floats, at_board_mm: Sequence[float], residual_mm: float = 0.0) -> BoardView:
    """Return the view of a known homography, its pixel size taken at a place on the board."""
    x, y = at_board_mm
    around = np.array([[x + 0.5, y], [x - 0.5, y], [x, y + 0.5], [x, y - 0.5]])
    right, left, up, down = _map(matrix, around)
    (a, b), (c, d) = right - left, up - down
    return BoardView(matrix, 1.0 / math.sqrt(abs(a * d - b * c)), residual_mm, (x, y))


def fit_homography(landmarks: Sequence[Landmark]) -> BoardView:
    """Fit the board's plane to the picture by least squares in pixels.

    Normalised direct linear transform, refined by Levenberg–Marquardt (OpenCV's, plain least
    squares: each landmark counts).

    Raises
    ------
    InputError
        Fewer than four landmarks, (nearly) on one line, or such that no view explains them.
    """
    if len(landmarks) < 4:
        raise InputError(f"{len(landmarks)} landmarks; four or more are needed, well spread")
    board: Floats = np.array([m.board_mm for m in landmarks], dtype=np.float64)
    pixel: Floats = np.array([m.pixel for m in landmarks], dtype=np.float64)
    for points, where in ((board, "on the board"), (pixel, "in the picture")):
        if not _well_spread(points):
            raise InputError(
                f"the landmarks lie on one line {where}, or three of four do; "
                "choose four or more that span an area"
            )
    found, _ = cv2.findHomography(board, pixel, 0)
    matrix = np.zeros((3, 3)) if found is None else found.astype(np.float64)
    if not _sees_all(matrix, board):
        raise InputError("no view of a flat board explains the landmarks; check them for swaps")
    misfit = _map(_inverse(matrix), pixel) - board
    residual_mm = float(np.sqrt(np.mean(np.sum(misfit**2, axis=1))))
    return view_of(matrix, board.mean(axis=0).tolist(), residual_mm)


def _well_spread(points: Floats) -> bool:
    """Tell whether the points fix a homography: the equations' null space has one dimension."""
    centred = points - points.mean(axis=0)
    size = float(np.sqrt(np.mean(centred**2)))
    if not size > 0:
        return False
    x, y = (centred / size).T
    one, zero = np.ones_like(x), np.zeros_like(x)
    rows = np.stack([x, y, one, zero, zero, zero, -x * x, -y * x, -x], axis=1)
    more = np.stack([zero, zero, zero, x, y, one, -x * y, -y * y, -y], axis=1)
    singular = np.linalg.svd(np.vstack([rows, more]), compute_uv=False)
    return bool(singular[7] > 1e-3 * singular[0])


def _sees_all(matrix: Floats, board: Floats) -> bool:
    """Tell whether the points are on one side of the view's horizon and none is turned over."""
    depth = board @ matrix[2, :2] + matrix[2, 2]
    finite = bool(np.all(np.isfinite(matrix))) and abs(np.linalg.det(matrix)) > 1e-12
    return finite and bool(np.all(depth > 0) or np.all(depth < 0))


def part_outline_px(part: Part, view: BoardView) -> Floats:
    """Return the corners of a part's body in the picture, pixels, shape (4, 2)."""
    return view.board_to_pixel(part.outline_mm())
