"""How well landmarks fit, which of them is off, and views that no camera on a bench gives."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermview.board.view import BoardView, Landmark, fit_homography
from thermview.errors import InputError

Floats = NDArray[np.float64]

POOR_MM = 1.0
"""A clicked landmark is off by some half a millimetre; more than this is a mistake."""
CLEAR = 14.0  # chi-squared of two degrees of freedom passes it once in a thousand times
AS_CLEAR = 0.5  # of the clearest: the places cannot tell which of the two it is
MOST_SUSPECTS = 3
ENOUGH = 5  # fewer landmarks fit any view
CLICK_MM, CLICK_PX = 0.3, 0.35  # scatter of a careful click along one axis; from trials
CLICK_WEIGHT = 6.0  # so many degrees of freedom is that scatter's knowledge worth
PERSPECTIVE = 0.06  # nearer edges appear so much larger than the middle, usually
STEPS = 5
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
        Positions of the landmarks that the others clearly disagree with; one of them is off.
    off_mm : ndarray, shape (landmark,)
        How far each lies from where the others put it, on the board; NaN with just four.
    worst : int or None
        Position of the one that the others disagree with most; None with just four.
    words : str
        For the user; empty where nothing is to be said.
    """

    view: BoardView
    residual_mm: Floats
    suspects: tuple[int, ...]
    off_mm: Floats
    worst: int | None
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
    off_mm, clear = np.full(len(board), np.nan), np.zeros(len(board))
    if len(board) >= ENOUGH:
        off_mm, clear = _against_the_others(board, pixel, view.mm_per_px)
    worst = int(np.argmax(clear)) if len(board) >= ENOUGH else None
    order = np.argsort(-clear)[:MOST_SUSPECTS]
    least = max(CLEAR, AS_CLEAR * float(clear.max()))
    suspects = tuple(sorted(int(k) for k in order if clear[k] >= least))
    words = _words(residual_mm, suspects, off_mm, stretch)
    return LandmarkCheck(view, residual_mm, suspects, off_mm, worst, words)


def _words(residual_mm: Floats, suspects: tuple[int, ...], off_mm: Floats, stretch: float) -> str:
    if suspects:
        named = " or ".join(f"{k + 1} (by {off_mm[k]:.1f} mm)" for k in suspects)
        return f"the others disagree with landmark {named}: click that one anew"
    misfit_mm = float(np.sqrt(np.mean(residual_mm**2)))
    if misfit_mm > POOR_MM:
        return f"the landmarks misfit by {misfit_mm:.1f} mm; click them anew, with the loupe"
    if stretch > SLANTED:
        return (
            f"the board appears {stretch:.1f} times longer one way; if the camera is not slanted, "
            "two landmarks are swapped"
        )
    if len(residual_mm) < ENOUGH:
        return "four landmarks fit any view; a fifth would tell whether one is off"
    return ""


def _stretch(view: BoardView) -> float:
    """Return how many times longer the picture shows one direction of the board than another."""
    x, y = view.centre_mm
    around = view.board_to_pixel(np.array([[x, y], [x + 0.5, y], [x, y + 0.5]]))
    slopes = np.stack([around[1] - around[0], around[2] - around[0]])
    long, short = np.linalg.svd(slopes, compute_uv=False)
    return float(long / max(float(short), 1e-12))


def _against_the_others(board: Floats, pixel: Floats, mm_per_px: float) -> tuple[Floats, Floats]:
    """Return how far each landmark lies from where the others put it, and how clearly.

    Returns
    -------
    off_mm : ndarray, shape (landmark,)
    clear : ndarray, shape (landmark,)
        By how much the sum of squares falls without it, in variances of a click: about
        chi-squared of two degrees of freedom where the landmark is as good as the others
        (externally studentised residuals; Cook & Weisberg, Residuals and Influence in Regression,
        1982, section 2.2). The variance is `CLICK_MM`'s, pooled with what the others leave.
    """
    count = len(board)
    expected = CLICK_MM**2 + (CLICK_PX * mm_per_px) ** 2
    _, whole = _usual_view(board, pixel)
    off_mm, clear = np.full(count, np.nan), np.zeros(count)
    for k in range(count):
        kept = np.delete(np.arange(count), k)
        place, left = _usual_view(board[kept], pixel[kept])
        off_mm[k] = float(np.linalg.norm(place(pixel[k]) - board[k]))
        free = 2 * (count - 1) - 6
        variance = (CLICK_WEIGHT * expected + left) / (CLICK_WEIGHT + free)
        clear[k] = (whole - left) / variance
    return off_mm, clear


def _usual_view(board: Floats, pixel: Floats) -> tuple[Callable[[Floats], Floats], float]:
    """Fit a view whose perspective is held to what a camera over a bench gives.

    Free, it would bend until a landmark that is off fits too. Least squares by Gauss-Newton from
    the best affine view, as perspective is slight.

    Returns
    -------
    place : callable
        Gives a pixel's (x, y) place on the board, mm.
    left : float
        Sum of squares that is left, mm²; what perspective costs is included.
    """
    middle, size = board.mean(axis=0), float(np.abs(board - board.mean(axis=0)).max())
    centre = pixel.mean(axis=0)
    width = float(np.abs(pixel - centre).max())
    seen, wanted = (pixel - centre) / width, (board - middle) / size
    table = np.column_stack([seen, np.ones(len(seen))])
    affine = np.linalg.lstsq(table, wanted, rcond=None)[0]  # (3, 2): for x and for y
    slant, held = np.zeros(2), CLICK_MM / size / PERSPECTIVE
    for _ in range(STEPS):
        depth = 1 + seen @ slant
        found = table @ affine / depth[:, None]
        flat = table / depth[:, None]
        none = np.zeros_like(flat)
        slopes = -found[:, :, None] * (seen / depth[:, None])[:, None, :]
        rows = np.vstack(
            [
                np.hstack([flat, none, slopes[:, 0]]),
                np.hstack([none, flat, slopes[:, 1]]),
                np.hstack([np.zeros((2, 6)), np.eye(2) * held]),
            ]
        )
        misses = np.concatenate([(wanted - found).T.ravel(), -slant * held])
        step = np.linalg.lstsq(rows, misses, rcond=None)[0]
        affine, slant = affine + step[:6].reshape(2, 3).T, slant + step[6:]

    def place(at: Floats) -> Floats:
        here = (np.asarray(at, np.float64) - centre) / width
        flat = np.append(here, 1.0) @ affine
        return np.asarray(flat / (1 + here @ slant) * size + middle, np.float64)

    found = table @ affine / (1 + seen @ slant)[:, None]
    left = np.sum((found - wanted) ** 2) + np.sum((slant * held) ** 2)
    return place, float(left) * size**2
