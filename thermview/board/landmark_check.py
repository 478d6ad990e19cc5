"""How well landmarks fit, which of them is off, and views that no camera on a bench gives."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermview.board.view import BoardView, Landmark, fit_homography
from thermview.errors import InputError

Floats = NDArray[np.float64]

POOR_MM = 1.0
"""A clicked landmark is off by some half a millimetre; more than this is a mistake."""
CLEARER = 2.5  # times less misfit without one landmark: that one is off
MOST_SUSPECTS = 3
CLICK_MM = 0.5
PERSPECTIVE = 0.03  # nearer edges appear so much larger than the middle, usually
SLANTED = 1.5  # a board seen at 48° from above is shortened so much
STRETCHED = 2.5  # nobody films a board at such a slant


@dataclass(frozen=True, slots=True, eq=False)
class LandmarkCheck:
    """A view and what is to be said about its landmarks.

    Attributes
    ----------
    view : BoardView
    residual_mm : ndarray, shape (landmark,)
        How far each lies from where the view puts it, on the board; 0 with just four.
    suspects : tuple of int
        Positions of the landmarks without which the others fit well; one of them is off.
    words : str
        For the user; empty where nothing is to be said.
    """

    view: BoardView
    residual_mm: Floats
    suspects: tuple[int, ...]
    words: str


def check_landmarks(landmarks: Sequence[Landmark]) -> LandmarkCheck:
    """Fit a view and judge it.

    Raises
    ------
    InputError
        The landmarks fix no view, or one that no camera gives: two are swapped.
    """
    view = fit_homography(landmarks)
    board = np.array([m.board_mm for m in landmarks])
    pixel = np.array([m.pixel for m in landmarks])
    stretch = _stretch(view)
    if stretch > STRETCHED:
        raise InputError(
            f"the landmarks show the board {stretch:.1f} times longer one way than the other; "
            "two of them are swapped, or their millimetres are wrong"
        )
    residual_mm = np.linalg.norm(view.pixel_to_board(pixel) - board, axis=1)
    worst_mm = float(np.sqrt(np.mean(residual_mm**2)))
    suspects = _suspects(board, pixel)
    if suspects:
        named = " or ".join(str(k + 1) for k in suspects)
        words = f"without landmark {named} the others fit far better: click that one anew"
        return LandmarkCheck(view, residual_mm, suspects, words)
    if worst_mm > POOR_MM:
        words = f"the landmarks misfit by {worst_mm:.1f} mm; click them anew, with the loupe"
        return LandmarkCheck(view, residual_mm, (), words)
    words = ""
    if stretch > SLANTED:
        words = (
            f"the board appears {stretch:.1f} times longer one way; if the camera is not slanted, "
            "two landmarks are swapped"
        )
    elif len(landmarks) == 4:
        words = "four landmarks fit any view; a fifth would tell whether one is off"
    return LandmarkCheck(view, residual_mm, (), words)


def _stretch(view: BoardView) -> float:
    """Return how many times longer the picture shows one direction of the board than another."""
    x, y = view.centre_mm
    around = view.board_to_pixel(np.array([[x, y], [x + 0.5, y], [x, y + 0.5]]))
    slopes = np.stack([around[1] - around[0], around[2] - around[0]])
    long, short = np.linalg.svd(slopes, compute_uv=False)
    return float(long / max(float(short), 1e-12))


def _suspects(board: Floats, pixel: Floats) -> tuple[int, ...]:
    """Return the landmarks without any one of which the others fit `CLEARER` times better.

    None where all fit, or where leaving out any helps; several where the places cannot tell.
    """
    count = len(board)
    whole = _misfit(board, pixel)
    if count < 5 or whole < POOR_MM:
        return ()
    others = [np.delete(np.arange(count), k) for k in range(count)]
    misfit = [_misfit(board[kept], pixel[kept]) for kept in others]
    found = tuple(k for k in range(count) if misfit[k] * CLEARER < whole)
    return found if len(found) <= MOST_SUSPECTS else ()


def _misfit(board: Floats, pixel: Floats) -> float:
    """Return what a usual view leaves, root mean square on the board, mm.

    A view's perspective is held to what a camera over a bench gives; free, it would bend until a
    landmark that is off fits too.
    """
    middle, size = board.mean(axis=0), float(np.abs(board - board.mean(axis=0)).max())
    scaled = (board - middle) / size
    centre = pixel.mean(axis=0)
    width = float(np.abs(pixel - centre).max())
    from scipy.optimize import least_squares  # late: the window starts without it

    seen = (pixel - centre) / width

    def left(p: Floats) -> Floats:
        flat = seen @ p[:4].reshape(2, 2).T + p[4:6]
        found = flat / (1 + seen @ p[6:])[:, None]
        return np.concatenate([((found - scaled) * size / CLICK_MM).ravel(), p[6:] / PERSPECTIVE])

    table = np.column_stack([seen, np.ones(len(seen))])
    start = np.linalg.lstsq(table, scaled, rcond=None)[0]
    begin = np.concatenate([start[:2].T.ravel(), start[2], np.zeros(2)])
    found = least_squares(left, begin, method="lm" if len(board) > 3 else "trf")
    return CLICK_MM * float(np.sqrt(2 * found.cost / len(board)))
