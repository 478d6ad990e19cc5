"""What a dissipating part looks like: a thin sheet spreading heat, a body on it, a camera's blur.

C ∂T/∂t = κ∇²T - hT + q for the sheet, κ = k·d (W/K), C = ρcd (J/m²K); the body passes its power
on to the sheet through a conductance per area g, so that it is warmer than the sheet under it by
q/(gA), and lags by its own thermal mass. Linear, hence all in spatial frequencies.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray

from thermview.analysis.background import Whitener, frequencies_once, over_plane
from thermview.analysis.responses import RATES_HZ, TAUS_S, Modes
from thermview.analysis.spectra import fast_length, forward
from thermview.analysis.wanted import still_wanted

Floats = NDArray[np.float64]
Value = TypeVar("Value", bound=np.generic)
Template = NDArray[np.float32]
"""Pictures of mode coefficients around a part, shape (mode, row, column)."""

CAPACITY = 1850.0 * 1100.0 * 1.6e-3
"""ρcd of 1.6 mm FR-4, J/m²K (ρ and c as in the handbooks, from memory)."""
FILM = 20.0
"""Both faces' convection and radiation together, W/m²K: 5–7 and 6 for each, see `ht`, 4σT³."""
KAPPAS = (0.0008, 0.0015, 0.003, 0.006, 0.012, 0.025)
"""κ = kd that are tried, W/K: bare laminate (.5 to 1 W/mK × 1.6 mm) to planes on both sides."""
CONTACT = (1500.0, 10000.0)
"""Least and most conductance between a body and the board, W/m²K."""
SEEN = 0.92
"""Emissivity of solder mask, plastic and ceramics, when nothing better is stated."""
BODY_SEEN_LEAST = 0.5
"""A chip's bright ends show less of its rise."""
HIGHPASS_PX = 9.0
SPREAD_PX = 0.8
"""The camera's blur, one standard deviation."""
KEPT_TEMPLATES = 24
"""Parts whose templates are kept for a second look; each has a few MB."""
SPANNED = 1e-6
"""Share of the templates' energy that may be left out to make them from few."""


@dataclass(frozen=True, slots=True, eq=False)
class Footprint:
    """A part in the picture.

    Attributes
    ----------
    name : str
    outline_px : ndarray, shape (corner, 2)
    area_m2 : float
        Of the body on the board.
    height_m : float
        Of the body above it.
    bare : float
        Share of the body's own warmth that the camera sees: bright ends show the room instead.
    """

    name: str
    outline_px: Floats
    area_m2: float
    height_m: float = 0.0
    bare: float = 1.0

    @property
    def centre_px(self) -> Floats:
        """Return the middle of the outline, (x, y)."""
        return np.asarray(self.outline_px.mean(axis=0))


@dataclass(frozen=True, slots=True)
class Window:
    """A square cut of the picture: first column and row, and the length of its side, px."""

    x: int
    y: int
    side: int

    def cut(self, pictures: NDArray[Value]) -> NDArray[Value]:
        """Return the view of pictures, shape (…, row, column), inside the window."""
        return pictures[..., self.y : self.y + self.side, self.x : self.x + self.side]


def window_around(centre_px: Floats, side: int, shape: tuple[int, int]) -> Window:
    """Return a window about a place, pushed into the picture."""
    side = min(side, *shape)
    x = int(np.clip(round(centre_px[0] - side / 2), 0, shape[1] - side))
    y = int(np.clip(round(centre_px[1] - side / 2), 0, shape[0] - side))
    return Window(x, y, side)


def coverage(outline_px: Floats, window: Window, fine: int = 8) -> NDArray[np.float32]:
    """Return the share of each pixel that an outline covers, shape (row, column)."""
    side = window.side
    mask = np.zeros((side * fine, side * fine), np.uint8)
    corners = (outline_px - [window.x, window.y]) * fine - 0.5
    cv2.fillConvexPoly(mask, np.round(corners * 16).astype(np.int32), 255, cv2.LINE_8, 4)
    share = cv2.resize(mask, (side, side), interpolation=cv2.INTER_AREA).astype(np.float32) / 255
    if float(share.sum()) < 0.05:  # too small or out of view: its pixel
        column, row = np.clip(outline_px.mean(axis=0) - [window.x, window.y], 0, side - 1)
        share[int(row), int(column)] = 1.0
    return np.asarray(share, dtype=np.float32)


def mask_of(footprint: Footprint, window: Window, around_px: int = 2) -> NDArray[np.bool_]:
    """Return the pixels of a part and `around_px` more on each side."""
    share = coverage(footprint.outline_px, window)
    kernel = np.ones((2 * around_px + 1, 2 * around_px + 1), np.uint8)
    return np.asarray(cv2.dilate((share > 0.05).astype(np.uint8), kernel) > 0)


@dataclass(frozen=True, slots=True, eq=False)
class Templates:
    """What 1 W does to the sheet, and what 1 K of the body's own shows.

    Attributes
    ----------
    window : Window
    sheet : ndarray of float32, shape (choice, mode, row, column)
        K per W, as a camera without error sees it on a black board.
    body : ndarray of float32, shape (mode, row, column)
        To be multiplied by the modes' `body` and the excess per W.
    """

    window: Window
    sheet: Template
    body: NDArray[np.float32]


def sheet_filters(
    choices: Sequence[tuple[float, int]],
    responses: Floats,
    k2: Floats,
    seen: NDArray[np.floating],
    pitch_m: float,
) -> NDArray[np.float32]:
    """Return what makes the sheet's rise, K, of power, W per pixel, in the frequency plane.

    A mode of the sheet answers the power as one pole of the rate (κk² + h)/C.

    Parameters
    ----------
    choices : sequence of (κ in W/K, lag)
        The lag is a position in `TAUS_S`.
    responses : ndarray, shape (lag, course, rate)
        Each course's answer to the rates `RATES_HZ`.
    k2 : ndarray, shape (row, column)
        Squared wave number, 1/m².
    seen : ndarray, shape (row, column), or (course, row, column)
        The camera's blur and the filter that the pictures passed.
    pitch_m : float
        Of a pixel.

    Returns
    -------
    ndarray of float32, shape (choice, course, row, column)
    """
    courses = responses.shape[1]
    seen = np.broadcast_to(seen, (courses, *k2.shape))
    log_rates = np.log(RATES_HZ)
    filters = np.empty((len(choices), courses, *k2.shape), np.float32)
    for at, (kappa, lag) in enumerate(choices):
        still_wanted()
        rates = np.log(np.clip((kappa * k2 + FILM) / CAPACITY, RATES_HZ[0], RATES_HZ[-1]))
        for course in range(courses):
            table = np.interp(rates, log_rates, responses[lag, course])
            filters[at, course] = table * seen[course] / (CAPACITY * pitch_m**2)
    return filters


class Filters:
    """What a watt does in pictures of one make, in the frequency plane.

    Parameters
    ----------
    modes : Modes
    mm_per_px : float
    whitener : Whitener, optional
        The filter that the pictures have passed; unless given, the plain high-pass.
    """

    def __init__(self, modes: Modes, mm_per_px: float, whitener: Whitener | None = None) -> None:
        self.modes = modes
        self._mm_per_px = mm_per_px
        self._whitener = whitener

    def at(
        self, size: tuple[int, int], choices: Sequence[tuple[float, int]]
    ) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """Return the body's filter, and the sheet's for each (κ, lag), of a real transform.

        Returns
        -------
        body : ndarray, shape (mode, row, column)
            Per K of its own.
        sheet : ndarray, shape (choice, mode, row, column)
            Per W in one pixel.
        """
        pitch_m = self._mm_per_px * 1e-3
        per_px = frequencies_once(size)
        k2 = (2 * np.pi * per_px / pitch_m) ** 2
        blur = np.exp(-0.5 * (2 * np.pi * per_px * SPREAD_PX) ** 2)
        if self._whitener is None:
            narrow = 1 - np.exp(-0.5 * (2 * np.pi * per_px * HIGHPASS_PX) ** 2)
            passed = np.repeat(narrow[None], self.modes.count, axis=0)
        else:
            passed = self._whitener.filters(per_px)
        body = (blur * passed).astype(np.float32)
        sheet = sheet_filters(choices, self.modes.sheet, k2, body, pitch_m)
        return over_plane(body, size), over_plane(sheet, size)


def spanned(filters: NDArray[np.float32]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return few filters and how to mix them to have each of many that are alike.

    What heat of any lag on any board looks like differs little: 15 to 20 pictures hold 180 to
    a part in a thousand of each choice's size (the filters' principal components).

    Parameters
    ----------
    filters : ndarray, shape (choice, course, row, column)
        In the frequency plane of square pictures, and the same in all directions.

    Returns
    -------
    basis : ndarray of float32, shape (few, row, column)
    mix : ndarray of float32, shape (choice, course, few)
    """
    choices, courses, _, half = filters.shape
    sizes = np.sqrt(np.einsum("cmij,cmij->c", filters, filters))
    alike = filters / sizes[:, None, None, None]
    down, along = np.tril_indices(half)  # an eighth of the plane mirrors the rest
    wedge = alike[:, :, down, along].reshape(choices * courses, -1)
    amounts, axes = np.linalg.eigh((wedge @ wedge.T).astype(np.float64))
    left_out = np.searchsorted(np.cumsum(amounts), SPANNED * amounts.sum())
    kept = axes[:, left_out:].astype(np.float32)
    basis = np.tensordot(kept.T.reshape(-1, choices, courses), alike, axes=2)
    mix = kept.reshape(choices, courses, -1) * sizes[:, None, None]
    return basis, np.asarray(mix, np.float32)


class HeatModel:
    """Templates of parts in square windows.

    Parameters
    ----------
    filters : Filters
    side : int
        Of the windows, px, at the most.
    kappas, lags :
        Which κ (W/K) and which of `TAUS_S` (positions) to offer.
    """

    def __init__(
        self,
        filters: Filters,
        side: int,
        *,
        kappas: tuple[float, ...] = KAPPAS,
        lags: tuple[int, ...] = tuple(range(len(TAUS_S))),
    ) -> None:
        self.side = side
        self.choices = [(kappa, lag) for kappa in kappas for lag in lags]
        self._fine = fast_length(2 * side)
        self._body, self._sheet = filters.at((self._fine, self._fine), self.choices)
        self._basis, self._mix = spanned(self._sheet)
        self._made: OrderedDict[tuple[bytes, Window], Templates] = OrderedDict()

    def templates(self, outline_px: Floats, window: Window, only: int | None = None) -> Templates:
        """Return what 1 W does around a part, for every choice or for `only` one."""
        if only is not None:
            return self._make(outline_px, window, only)
        key = outline_px.tobytes(), window
        made = self._made.pop(key, None) or self._make(outline_px, window)
        self._made[key] = made
        while len(self._made) > KEPT_TEMPLATES:
            self._made.popitem(last=False)
        return made

    def _make(self, outline_px: Floats, window: Window, only: int | None = None) -> Templates:
        still_wanted()
        side = window.side
        share = coverage(outline_px, window)
        seen = forward(share, (self._fine, self._fine))
        body = self._back(seen * self._body, side)
        seen /= share.sum()
        if only is None:
            sheet = np.tensordot(self._mix, self._back(self._basis * seen, side), axes=1)
        else:
            sheet = self._back(self._sheet[only] * seen, side)[None]
        return Templates(window, sheet, body)

    def _back(self, plane: NDArray[Any], side: int) -> NDArray[np.float32]:
        """Return pictures from the frequency plane, cut to a window: rows that are not needed
        are dropped half-way."""
        tall = np.fft.ifft(plane, axis=-2)[..., :side, :]
        wide = np.fft.irfft(tall, n=self._fine, axis=-1)[..., :side]
        return np.ascontiguousarray(wide, dtype=np.float32)
