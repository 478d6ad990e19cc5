"""A long-wave camera: spread, noise, fixed pattern, drift and shutter, down to counts."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from thermview.frames import Scale
from thermview.simulation.grid import Grid
from thermview.simulation.radiance import Picture, apparent_kelvin

Floats = NDArray[np.float64]

_KNOTS = (3, 3, 4, 5, 7, 10)  # of the drift's patterns along each side, coarse to fine
_CENTIKELVIN = Scale(0.01)


@dataclass(frozen=True, slots=True)
class CameraModel:
    """What a camera is like.

    Attributes
    ----------
    width_px, height_px : int
    rate_hz : float
    netd_k : float
        Temporal noise of a pixel.
    spread_px : float
        Standard deviation of the optics' spread, pixels; the pixel's own area comes on top.
    scale : Scale
    pattern_k : float
        Standard deviation of the fixed pattern.
    drift_k : float
        Standard deviation that the slow drift wanders to: of the picture as a whole, and of
        smooth patterns across it (`uneven` times as much).
    drift_s : float
        Correlation time of the drift.
    uneven : float
    shutter_times_s : tuple of float
        When the shutter closes.
    shutter_s : float
        For how long the picture stands still.
    shutter_step_k : float
        Standard deviation of the offset's step at a shutter event.
    says_shutter : bool
        The camera tells which frames its shutter holds.
    jitter_s : float
        Standard deviation of the frames' times.
    """

    width_px: int = 256
    height_px: int = 192
    rate_hz: float = 25.0
    netd_k: float = 0.05
    spread_px: float = 0.55
    scale: Scale = _CENTIKELVIN
    pattern_k: float = 0.08
    drift_k: float = 0.06
    drift_s: float = 20.0
    uneven: float = 0.5
    shutter_times_s: tuple[float, ...] = ()
    shutter_s: float = 0.4
    shutter_step_k: float = 0.15
    says_shutter: bool = True
    jitter_s: float = 0.001

    def sized(self, width_px: int, height_px: int, rate_hz: float) -> CameraModel:
        """Return the same camera with another sensor."""
        return replace(self, width_px=width_px, height_px=height_px, rate_hz=rate_hz)


class Camera:
    """Exposes pictures of a radiance map; one object holds one run's pattern and drift."""

    def __init__(self, model: CameraModel, grid: Grid, rng: np.random.Generator) -> None:
        self.model = model
        self._grid = grid
        self._rng = rng
        shape = (model.height_px, model.width_px)
        columns = rng.standard_normal(model.width_px) * 0.4
        self._pattern = self._kelvin32((rng.standard_normal(shape) + columns) * model.pattern_k)
        self._modes = _smooth_modes(rng, shape)
        self._drift = np.zeros(1 + len(self._modes))
        self._offset_k = 0.0
        self._time_s = 0.0
        self._held: NDArray[np.uint16] | None = None
        self._held_until_s = -math.inf
        self._shutters = list(model.shutter_times_s)

    @staticmethod
    def _kelvin32(values: Floats) -> Picture:
        return values.astype(np.float32)

    def held(self, time_s: float) -> NDArray[np.uint16] | None:
        """Return the standing picture while the shutter is closed, else None."""
        if self._shutters and time_s >= self._shutters[0] and self._held is not None:
            self._held_until_s = self._shutters.pop(0) + self.model.shutter_s
            self._offset_k = float(self._rng.normal(0.0, self.model.shutter_step_k))
            self._drift *= 0.3  # the shutter takes most of the drift off
        return self._held if time_s < self._held_until_s else None

    def expose(self, radiance: Picture, to_pixel: Floats, time_s: float) -> NDArray[np.uint16]:
        """Return counts, shape (row, column), of a radiance map seen through a homography.

        `to_pixel` maps board mm to pixels of this camera.
        """
        model = self.model
        matrix = to_pixel @ self._grid.to_board()
        blurred = _blur(radiance, _cells_per_px(matrix, self._grid), model.spread_px)
        # OpenCV puts a pixel's centre at whole numbers
        half = np.array([[1.0, 0.0, 0.5], [0.0, 1.0, 0.5], [0.0, 0.0, 1.0]])
        centred = np.linalg.inv(half) @ matrix @ half
        size = (model.width_px, model.height_px)
        seen = cv2.warpPerspective(
            blurred, centred, size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )
        kelvin = apparent_kelvin(np.asarray(seen, dtype=np.float32))
        kelvin += self._pattern
        kelvin += self._drifted(time_s)
        noise = self._rng.standard_normal(kelvin.shape, dtype=np.float32)
        noise *= np.float32(model.netd_k)
        kelvin += noise
        self._held = self._counts(kelvin)
        return self._held

    def _counts(self, kelvin: Picture) -> NDArray[np.uint16]:
        scale = self.model.scale
        kelvin -= np.float32(scale.offset_k)
        kelvin *= np.float32(1.0 / scale.k_per_count)
        np.rint(kelvin, out=kelvin)
        return np.clip(kelvin, 0, 65535).astype(np.uint16)

    def _drifted(self, time_s: float) -> Picture:
        """Return the drift now: Ornstein–Uhlenbeck walks of smooth patterns."""
        model = self.model
        keep = math.exp(-max(0.0, time_s - self._time_s) / model.drift_s)
        self._time_s = time_s
        kick = math.sqrt(1.0 - keep**2) * model.drift_k
        sizes = np.full(len(self._drift), model.uneven)
        sizes[0] = 1.0
        self._drift = keep * self._drift + kick * sizes * self._rng.standard_normal(len(sizes))
        weights = self._drift[1:].astype(np.float32)
        drift: Picture = np.tensordot(weights, self._modes, axes=1)
        drift += np.float32(self._drift[0] + self._offset_k)
        return drift


def _smooth_modes(rng: np.random.Generator, shape: tuple[int, int]) -> Picture:
    """Return smooth patterns across the picture, each of rms 1, shape (modes, row, column)."""
    modes = []
    for knots in _KNOTS:
        coarse = rng.standard_normal((knots, knots))
        pattern = cv2.resize(coarse, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC)
        pattern -= pattern.mean()
        modes.append(pattern / np.sqrt(np.mean(pattern**2)) / np.sqrt(len(_KNOTS)))
    return np.array(modes, dtype=np.float32)


def _cells_per_px(matrix: Floats, grid: Grid) -> float:
    """Return a pixel's size in cells of the map at the map's middle (root of its area)."""
    middle = np.array([grid.columns / 2, grid.rows / 2, 1.0])
    u, v, w = matrix @ middle
    du = (matrix[0, :2] - u / w * matrix[2, :2]) / w
    dv = (matrix[1, :2] - v / w * matrix[2, :2]) / w
    return float(1.0 / math.sqrt(abs(du[0] * dv[1] - du[1] * dv[0])))


def _blur(radiance: Picture, cells_per_px: float, spread_px: float) -> Picture:
    """Spread a map as optics and pixel area do, both as Gaussians of their variance.

    Left out of it: a cell's own area, and the linear interpolation between cells that follows.
    """
    variance = (spread_px**2 + 1.0 / 12.0) * cells_per_px**2 - 1.0 / 12.0 - 1.0 / 6.0
    if variance <= 0.01:
        return radiance
    sigma = math.sqrt(variance)
    size = 2 * math.ceil(3.5 * sigma) + 1
    blurred = cv2.GaussianBlur(radiance, (size, size), sigma, borderType=cv2.BORDER_REPLICATE)
    return np.asarray(blurred, dtype=np.float32)
