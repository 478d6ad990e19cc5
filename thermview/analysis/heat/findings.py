"""What `locate` answers: suspects, places on no listed part, and what to know of them."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from thermview.analysis.heat.nature import Nature
from thermview.units import power_text

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Suspect:
    """A part that looks warmer since the power came on.

    Attributes
    ----------
    part : str
        Designator.
    rank : int
        From 1.
    nature : Nature
    rise_k : float
        Of its warmest pixel at its highest, above the picture before the power, K, as seen.
    power_w, power_sigma_w : float
    onset_s : float
        When its heat first shows, s from the recording's start.
    snr : float
    likely : float
        That the part itself dissipates, 0 to 1.
    expected : bool
        Named as meant to be warm.
    words : str
        The evidence.
    x_px, y_px : float
        Its middle in the picture.
    curve_k, fitted_k : ndarray, shape (frame,)
        The rise of its warmest pixel over the surroundings, and the heat (with the camera's
        drift) fitted to it; both from the mean before the power.
    """

    part: str
    rank: int
    nature: Nature
    rise_k: float
    power_w: float
    power_sigma_w: float
    onset_s: float
    snr: float
    likely: float
    expected: bool
    words: str
    x_px: float
    y_px: float
    curve_k: Floats = field(repr=False)
    fitted_k: Floats = field(repr=False)

    @property
    def power_text(self) -> str:
        """Return its power for people; none for a reflection, whose brightness is no heat."""
        if self.nature is Nature.REFLECTION:
            return "–"
        return power_text(self.power_w, self.power_sigma_w)


@dataclass(frozen=True, slots=True, eq=False)
class Place:
    """A source on no listed part; millimetres and watts only where the view is known.

    `radius_mm` tells compact heat from broad (from the far side, or a plane), `sigma_mm` how far
    off the place may be, root mean square; `expected`: it is meant to be warm. A glowing track has
    the course of its heat, (x, y) each, in `path_px` and, with a known view, `path_mm`; the last
    point is its end, where `x_px` … `y_mm` are as well.
    """

    x_px: float
    y_px: float
    x_mm: float | None
    y_mm: float | None
    radius_mm: float
    nature: Nature
    rise_k: float
    power_w: float | None
    power_sigma_w: float | None
    snr: float
    likely: float
    expected: bool = False
    sigma_mm: float | None = None
    path_px: tuple[tuple[float, float], ...] = ()
    path_mm: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Located:
    """The answer.

    Attributes
    ----------
    power_on_s : float or None
        None where no switching was found.
    power_on_from : str
        "given", "marked", "supply log", "frames" or "".
    heated : bool
        Something on the board warms beyond noise, drift and reflections.
    suspects : tuple of Suspect
        In the order of their ranks.
    elsewhere : tuple of Place
        The strongest first.
    notes : tuple of str
        What the user should know.
    times_s : ndarray, shape (frame,)
        Of the suspects' curves.
    rise_k : ndarray of float32, shape (row, column)
        The picture's rise, late against before the power, K.
    supply_w : float or None
        V·I at the supply's terminals when on.
    """

    power_on_s: float | None
    power_on_from: str
    heated: bool
    suspects: tuple[Suspect, ...]
    elsewhere: tuple[Place, ...]
    notes: tuple[str, ...]
    times_s: Floats = field(repr=False)
    rise_k: NDArray[np.float32] = field(repr=False)
    supply_w: float | None
