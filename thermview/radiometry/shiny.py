"""Which pixels mirror too much to be read, found while nothing is powered.

Two kinds of evidence, each enough by itself:

* The board is as warm everywhere as its contact reading says. A pixel that looks otherwise mirrors
  something; how far it looks towards the surroundings gives its emissivity.
* What is mirrored moves (a hand is waved over the board), what radiates does not. A pixel that
  changes nearly as much as the most changing ones is a mirror.

The first needs board and surroundings of differing temperature, the second something that moves.
Without either the map says that it does not know, which is not the same as "nothing is shiny".
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from thermview.errors import UsageError
from thermview.frames import Frame
from thermview.radiometry.emissivity import first_order
from thermview.radiometry.planck import Floats, band_radiance
from thermview.radiometry.setting import Setting

Mask = NDArray[np.bool_]

SHINY_BELOW: Final = 0.6
"""Emissivity under which a pixel counts as shiny: what it mirrors then matters."""
_SURE: Final = 3.0  # standard uncertainties
_MOVES: Final = 5.0  # times the noise of a mean over `_GROUP` frames
_LEAST_SWING_K = 1.5  # a hand, some 10 K above the room, in the dullest mirror that matters
_FEWEST_PIXELS = 4  # a swing seen by fewer is a bad pixel
_GROUP = 4
_FEWEST_FRAMES = 16
_MOST_MOVING = 0.5  # where more of the picture changes, the camera moved, not a reflection
_PASSING = 0.03  # what changes together and reaches the side is, if larger, a hand itself


@dataclass(frozen=True, slots=True, eq=False)
class ShinyMap:
    """Which pixels mirror too much, and how that is known.

    Attributes
    ----------
    mask : ndarray of bool, shape (row, column)
        True where shiny.
    emissivity : ndarray, shape (row, column)
        What the first kind of evidence gives, unclipped; NaN where it says nothing.
    known : bool
        At least one kind of evidence applied; otherwise an unset pixel means nothing.
    how : str
        For people.
    """

    mask: Mask
    emissivity: Floats
    known: bool
    how: str


class ShinyMeter:
    """Gathers frames of the unpowered board, in memory that does not grow with their number."""

    def __init__(self) -> None:
        self._sum: Floats | None = None
        self._group: list[Floats] = []
        self._low: Floats | None = None
        self._high: Floats | None = None
        self._ends: list[Floats] = []  # the first group's and the last one's
        self._previous: Floats | None = None
        self._squared_step: Floats | None = None
        self._frames = 0

    def take(self, frame: Frame) -> None:
        """Take a frame; held ones and those without any value are left out."""
        kelvin = frame.kelvin()
        if frame.held or not np.isfinite(kelvin).any():
            return
        if self._sum is None or self._squared_step is None:
            self._sum, self._squared_step = np.zeros_like(kelvin), np.zeros_like(kelvin)
        if self._sum.shape != kelvin.shape:
            raise UsageError("the frames differ in size; begin the shiny map anew")
        self._sum += kelvin
        if self._previous is not None:
            self._squared_step += (kelvin - self._previous) ** 2
        self._previous = kelvin
        self._frames += 1
        self._group.append(kelvin)
        if len(self._group) == _GROUP:
            self._take_group(np.mean(self._group, axis=0))
            self._group.clear()

    def _take_group(self, mean: Floats) -> None:
        # what the whole picture shares is the camera's drift, not a reflection
        level = mean - np.nanmedian(mean)
        self._low = level if self._low is None else np.fmin(self._low, level)
        self._high = level if self._high is None else np.fmax(self._high, level)
        self._ends[1:] = [level]

    def map(
        self,
        reflected_k: float,
        *,
        contact_k: float | None = None,
        u_contact_k: float = 0.5,
        u_reflected_k: float = 1.0,
        u_camera_k: float = 0.5,
        setting: Setting | None = None,
        waved: bool = True,
    ) -> ShinyMap:
        """Return what the frames so far tell.

        Parameters
        ----------
        reflected_k : float
            Temperature of the surroundings, K.
        contact_k : float or None
            Contact reading of the unpowered board, K; None: unknown.
        u_contact_k, u_reflected_k, u_camera_k : float
            Standard uncertainties, K.
        setting : Setting or None
            For the band.
        waved : bool
            Somebody took care that only reflections move. Otherwise a change must pass again, since
            parts that cool from an earlier test change too, but one way; and what comes in from the
            picture's side is taken for a hand itself.

        Raises
        ------
        UsageError
            Fewer than 16 frames.
        """
        if self._sum is None or self._frames < _FEWEST_FRAMES:
            raise UsageError(
                f"the shiny map takes {_FEWEST_FRAMES} frames of the unpowered board or more, "
                f"not {self._frames}"
            )
        mean_k = self._sum / self._frames
        band = setting or Setting()
        moving, how_moving = self._moving(waved=waved)
        eps = np.full_like(mean_k, np.nan)
        static: Mask = np.zeros(mean_k.shape, dtype=np.bool_)
        how_static = "no contact reading of the board was given"
        if contact_k is not None:
            u_k = (u_camera_k, u_contact_k, u_reflected_k)
            eps, u_eps = _emissivity(mean_k, contact_k, reflected_k, u_k, band)
            if math.isfinite(u_eps):
                static = eps + _SURE * u_eps < 1.0
                static &= eps < SHINY_BELOW
                how_static = (
                    f"{static.mean():.0%} of the picture looks away from the contact reading "
                    f"(emissivity below {SHINY_BELOW:g}, ±{u_eps:.2f})"
                )
            else:
                how_static = "board and surroundings are too alike; warm the board a little"
        known = moving is not None or bool(np.isfinite(eps).any())
        mask = static if moving is None else static | moving
        closed = cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_CLOSE, np.ones((3, 3))) > 0
        how = f"{how_static}; {how_moving}"
        return ShinyMap(closed, eps, known, how if known else f"not known: {how}")

    def _moving(self, *, waved: bool) -> tuple[Mask | None, str]:
        """Return which pixels change by more than noise; None where nothing can be told."""
        nothing = "nothing moved; wave a hand slowly over the board"
        if self._low is None or self._high is None or self._squared_step is None:
            return None, nothing
        swing = self._high - self._low
        noise = float(np.sqrt(np.nanmedian(self._squared_step) / (2.0 * (self._frames - 1))))
        groups = self._frames // _GROUP
        # the range of so many normal means is about this much without any movement (Tippett's
        # range, here by its upper bound 2·√(2 ln n))
        quiet = 2.0 * math.sqrt(2.0 * math.log(groups)) if groups > 1 else 0.0
        limit = (quiet + _MOVES) * max(noise, 1e-6) / math.sqrt(_GROUP)
        if float((swing > limit).mean()) > _MOST_MOVING:
            return None, "the whole picture moved: hold the camera still"
        if not waved:
            ends = np.fmin(*self._ends), np.fmax(*self._ends)
            swing = np.fmax(self._high - ends[1], ends[0] - self._low)
            swing[_from_the_side(swing > limit)] = 0.0
        most = float(np.sort(np.nan_to_num(swing), axis=None)[-_FEWEST_PIXELS:][0])
        if most <= limit:
            return None, nothing
        if most < _LEAST_SWING_K:
            return None, "what moved is mirrored too faintly; wave a hand nearer to the board"
        # no pixel mirrors more than all, so what is mirrored swings by `most` at least, and a pixel
        # of this share of it mirrors this much at most
        moving: Mask = swing > max(limit, (1.0 - SHINY_BELOW) * most)
        share = float(moving.mean())
        return moving, f"{share:.1%} of the picture changed while nothing was powered"


def _from_the_side(changed: Mask) -> Mask:
    """Return what of a mask reaches the picture's side in one large piece."""
    _, pieces = cv2.connectedComponents(changed.astype(np.uint8), connectivity=4)
    side = np.unique(np.concatenate([pieces[0], pieces[-1], pieces[:, 0], pieces[:, -1]]))
    large = np.bincount(pieces.ravel()) > _PASSING * changed.size
    return np.asarray(changed & np.isin(pieces, side[large[side]]))


def _emissivity(
    mean_k: Floats,
    contact_k: float,
    reflected_k: float,
    u_k: tuple[float, float, float],
    setting: Setting,
) -> tuple[Floats, float]:
    """Return each pixel's emissivity if it is as warm as the contact, and its uncertainty.

    The uncertainty is that of a pixel half-way; NaN where board and surroundings are too alike for
    any conclusion.
    """
    band = band_radiance(setting.band)
    room, board = (float(band.radiance(t)) for t in (reflected_k, contact_k))
    halfway_k = float(band.temperature((room + board) / 2.0))
    nothing = np.full_like(mean_k, np.nan)
    if abs(contact_k - reflected_k) < _SURE * math.hypot(u_k[1], u_k[2]):
        return nothing, math.nan
    _, u, _ = first_order(
        lambda v: float(
            (band.radiance(v["seen"]) - band.radiance(v["room"]))
            / (band.radiance(v["board"]) - band.radiance(v["room"]))
        ),
        {
            "seen": (halfway_k, u_k[0]),
            "board": (contact_k, u_k[1]),
            "room": (reflected_k, u_k[2]),
        },
    )
    if _SURE * u > 1.0 - SHINY_BELOW / 2.0:
        return nothing, math.nan
    result: Floats = (band.radiance(mean_k) - room) / (board - room)
    return result, u
