"""Sources on no listed part: compact or broad heat anywhere in what the parts leave."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from thermview.analysis.heat.match import excess_bounds
from thermview.analysis.heat.quick import QUICK_KAPPAS, QUICK_LAGS
from thermview.analysis.heat.sources import Field
from thermview.analysis.heat_model import Footprint, HeatModel, Window
from thermview.analysis.spectra import back, fast_length, forward
from thermview.analysis.wanted import still_wanted

Floats = NDArray[np.float64]
Spectrum = NDArray[np.complexfloating]

SIZES_MM = (1.5, 4.0, 9.0)
"""Diameters that are tried: a joint or a track's end; heat from the far side or a plane."""
SIDES_PX, LONGEST = (1.5, 3.0, 5.5, 10.0, 17.0, 28.0), 2.5
"""Sides of bodies that are tried where no list tells, and how much longer one may be."""
APART_PX = 2.0
SIDE = 48
CORNERS = 16


def disc(x_px: float, y_px: float, diameter_mm: float, mm_per_px: float, name: str) -> Footprint:
    """Return a disc as a footprint without body."""
    angle = np.linspace(0, 2 * np.pi, CORNERS, endpoint=False)
    radius_px = diameter_mm / mm_per_px / 2
    outline = np.stack([x_px + radius_px * np.cos(angle), y_px + radius_px * np.sin(angle)], axis=1)
    return Footprint(name, outline, np.pi * (diameter_mm * 1e-3 / 2) ** 2)


def grid_of_discs(shape: tuple[int, int], mm_per_px: float, step_px: int = 8) -> list[Footprint]:
    """Return discs all over a picture, where no parts are known."""
    rows, columns = shape
    return [
        disc(x, y, 3 * mm_per_px, mm_per_px, f"{x},{y}")
        for y in range(step_px, rows - step_px + 1, step_px)
        for x in range(step_px, columns - step_px + 1, step_px)
    ]


def bodies_at(
    centre_px: Floats, wide_px: Sequence[float], high_px: Sequence[float], mm_per_px: float
) -> list[Footprint]:
    """Return rectangles about a place of sides that differ little, where no list tells of parts."""
    half = np.array([[-0.5, -0.5], [0.5, -0.5], [0.5, 0.5], [-0.5, 0.5]])
    pixel_m2 = (mm_per_px * 1e-3) ** 2
    return [
        Footprint("", centre_px + half * [wide, high], wide * high * pixel_m2)
        for wide in wide_px
        for high in high_px
        if max(wide, high) <= LONGEST * min(wide, high)
    ]


class SpotSearch:
    """Matched filters for discs at every pixel.

    Parameters
    ----------
    field : Field
        The field that is searched, as it is at each call.
    bodies : bool
        Small parts are looked for too, whose bodies are warmer than the board: where no list tells
        of them. Pulsed heat shows little else.
    """

    def __init__(self, field: Field, *, bodies: bool = False) -> None:
        self._field = field
        self._matched: list[tuple[float, Spectrum, Spectrum]] = []
        model = HeatModel(field.filters, SIDE, kappas=QUICK_KAPPAS, lags=QUICK_LAGS)
        middle = SIDE / 2 + 0.5
        rows, columns = field.shape
        self._size = (fast_length(rows + SIDE), fast_length(columns + SIDE))
        for size_mm in SIZES_MM:
            shape = disc(middle, middle, size_mm, field.mm_per_px, "")
            made = model.templates(shape.outline_px, Window(0, 0, SIDE))
            templates = list(made.sheet)
            if bodies and size_mm == SIZES_MM[0]:
                excess = np.float32(np.sqrt(np.prod(excess_bounds(shape))))
                own = field.modes.body[[lag for _, lag in model.choices]].astype(np.float32)
                templates += list(made.sheet + excess * own[..., None, None] * made.body)
            for sheet in templates:
                seen = np.conj(self._about(sheet))
                energy = np.conj(self._about(np.sum(sheet**2, axis=0)))
                self._matched.append((size_mm, seen, energy))

    def _about(self, template: NDArray[np.float32]) -> Spectrum:
        """Return a template's transform, its middle at the picture's first pixel."""
        padded = np.zeros((*template.shape[:-2], *self._size), np.float32)
        padded[..., :SIDE, :SIDE] = template
        return np.asarray(forward(np.roll(padded, (-SIDE // 2, -SIDE // 2), (-2, -1))))

    def scores(self) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """Return the best score at each pixel, and the size, mm, that reaches it."""
        field = self._field
        rows, columns = field.shape
        size = self._size
        weight = 1.0 / field.variance
        data = forward(field.left * weight, size)
        trust = forward(weight, size)
        best = np.full(field.shape, -np.inf, np.float32)
        sizes = np.zeros(field.shape, np.float32)
        for size_mm, seen, energy in self._matched:
            still_wanted()
            both = np.stack([np.sum(data * seen, axis=0), trust * energy])
            amount, norm = back(both, size)[:, :rows, :columns]
            score = amount / np.sqrt(np.maximum(norm, 1e-30))
            sizes[score > best] = size_mm
            np.maximum(best, score, out=best)
        return best, sizes

    def strongest(self, least_score: float, beside: Sequence[Footprint] = ()) -> Footprint | None:
        """Return a disc at the best place, None where none reaches a score.

        Places on what is taken already, `beside`, and so near to it that its own outline may be
        meant, do not count.
        """
        score, sizes = self.scores()
        for one in beside:
            (x0, y0), (x1, y1) = one.outline_px.min(axis=0), one.outline_px.max(axis=0)
            rows = slice(max(0, int(y0 - APART_PX)), int(np.ceil(y1 + APART_PX)))
            columns = slice(max(0, int(x0 - APART_PX)), int(np.ceil(x1 + APART_PX)))
            score[rows, columns] = -np.inf
        row, column = np.unravel_index(int(np.argmax(score)), score.shape)
        if score[row, column] < least_score:
            return None
        x, y = float(column) + 0.5, float(row) + 0.5
        return disc(x, y, float(sizes[row, column]), self._field.mm_per_px, "")

    def strongest_near(self, centre_px: Floats, near_px: float) -> Footprint:
        """Return a disc at the best place within a distance."""
        score, sizes = self.scores()
        rows, columns = score.shape
        y, x = np.mgrid[0:rows, 0:columns] + 0.5
        score[np.hypot(x - centre_px[0], y - centre_px[1]) > near_px] = -np.inf
        row, column = np.unravel_index(int(np.argmax(score)), score.shape)
        size_mm = float(sizes[row, column])
        return disc(float(column) + 0.5, float(row) + 0.5, size_mm, self._field.mm_per_px, "")

    def shams(self, spots: Sequence[Footprint], near_px: float) -> list[float]:
        """Return the highest score that cooling reaches near each spot; see `Explainer.sham`."""
        if not spots:
            return []
        self._field.left *= np.float32(-1.0)
        score, _ = self.scores()
        self._field.left *= np.float32(-1.0)
        rows, columns = score.shape
        y, x = np.mgrid[0:rows, 0:columns] + 0.5
        away = [np.hypot(x - spot.centre_px[0], y - spot.centre_px[1]) for spot in spots]
        return [float(score[one < near_px].max(initial=0.0)) for one in away]
