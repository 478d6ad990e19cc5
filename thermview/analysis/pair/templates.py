"""What one watt in a subject looks like on the plane's grid, in the courses' coefficients.

The heat model is that of `heat_model`: a thin sheet in spatial frequencies, a body that passes its
power on to the sheet and is warmer than it by a fixed excess per watt; then the grid's blur, and a
high pass that takes off what is wider than a subject's surroundings.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from thermview.analysis.heat_model import sheet_filters
from thermview.analysis.pair.clock import Courses
from thermview.analysis.pair.plane import Plane, Subject, Window
from thermview.analysis.responses import TAUS_S
from thermview.analysis.spectra import back, fast_length, forward

Floats = NDArray[np.float64]
Template = NDArray[np.float32]

KAPPAS = (0.0015, 0.004, 0.009, 0.018, 0.03)
"""κ = kd that are tried, W/K: bare laminate to planes on both sides."""
LAGS = tuple(range(len(TAUS_S)))
CONTACT = 4000.0
"""Usual conductance between a body and its board, W/m²K."""
NARROW = 6.0
"""The high pass, one standard deviation, cells."""
SIDE = 48


def usual_lag(area_m2: float) -> int:
    """Return the position in `TAUS_S` that suits a body's size."""
    return int(np.searchsorted([3e-6, 12e-6, 60e-6], area_m2)) + 1


def usual_excess(area_m2: float) -> float:
    """Return how much warmer than its board a body usually is, K per W."""
    return 1.0 / (CONTACT * max(area_m2, 0.2e-6))


class Library:
    """Templates of subjects on a plane for the courses of a step.

    Parameters
    ----------
    plane : Plane
    courses : Courses
    kappas, lags :
        What is offered: κ, W/K, and positions in `TAUS_S`; `choices` lists the pairs.
    """

    def __init__(
        self,
        plane: Plane,
        courses: Courses,
        kappas: Sequence[float] = KAPPAS,
        lags: Sequence[int] = LAGS,
    ) -> None:
        self.plane = plane
        self.courses = courses
        self.choices = [(kappa, lag) for kappa in kappas for lag in lags]
        pitch_m = plane.pitch_mm * 1e-3
        side = fast_length(2 * SIDE)
        self._size = (side, side)
        ky = 2 * np.pi * np.fft.fftfreq(side, pitch_m)
        kx = 2 * np.pi * np.fft.rfftfreq(side, pitch_m)
        k2 = ky[:, None] ** 2 + kx**2
        seen = np.exp(-0.5 * k2 * (plane.blur * pitch_m) ** 2)
        seen *= 1 - np.exp(-0.5 * k2 * (NARROW * pitch_m) ** 2)
        self._body = seen.astype(np.float32)
        self._sheet = sheet_filters(self.choices, courses.sheet, k2, seen, pitch_m)

    def window(self, subject: Subject) -> Window:
        """Return the cut of the grid that a subject's template covers."""
        return Window.around(self.plane.cells(subject.centre_mm), SIDE, self.plane.shape)

    def sheet(self, subject: Subject, choices: Sequence[int] | None = None) -> Template:
        """Return what 1 W does to the sheet, K, shape (choice, course, row, column)."""
        window = self.window(subject)
        share = self.plane.coverage(subject.outline_mm, window)
        power = forward(share / share.sum(), self._size)
        chosen = self._sheet if choices is None else self._sheet[list(choices)]
        out = back(chosen * power, self._size)
        return np.asarray(out[..., : window.height, : window.width], dtype=np.float32)

    def body(self, subject: Subject) -> NDArray[np.float32]:
        """Return how 1 K of the body's own shows, shape (row, column)."""
        window = self.window(subject)
        share = self.plane.coverage(subject.outline_mm, window)
        out = back(forward(share, self._size) * self._body, self._size)
        return np.asarray(out[: window.height, : window.width], dtype=np.float32)

    def bodily(self, subject: Subject, lag: int) -> Template:
        """Return how 1 K of excess shows in the courses, shape (course, row, column)."""
        shown = self.courses.body[lag].astype(np.float32)[:, None, None] * self.body(subject)
        return np.asarray(shown, dtype=np.float32)
