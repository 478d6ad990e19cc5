"""How the picture is shown: colours, level and span, unit, orientation. One place for all of it.

Picture and strip both read their colours and their scale here, so that a curve's height and the
picture's colour are the same thing. Of a source that gives brightness only, whatever is called K
here is counts.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from PySide6.QtGui import QColor

from thermview.errors import UsageError
from thermview.frames import Counts, Frame, Scale, Scene
from thermview.radiometry import CameraProfile, conversion, setting_for
from thermview.ui.levels import AutoLevel, robust_range
from thermview.ui.numbers import DASH, Numbers
from thermview.ui.viewscale import COLOUR_MAPS, NO_VALUE_ARGB, LevelMode, View, ViewScale
from thermview.units import TemperatureUnit

__all__ = ["COLOUR_MAPS", "DASH", "NO_VALUE_ARGB", "Display", "LevelMode", "View", "ViewScale"]

_LEAST_SPAN_K = 0.2  # of the automatic axis: some noise of a good camera, no more
_UNSCALED = Scale(1.0)
_FOOT = 0.06  # of the span, below the coldest: so that it is not lost in a map's black end


class Display(Numbers):
    """View settings; `on_change` are called after every change that alters picture or axis."""

    def __init__(self) -> None:
        self.on_change: list[Callable[[], None]] = []
        self._scales = {
            View.TEMPERATURE: ViewScale(View.TEMPERATURE, "inferno", 293.15, 313.15),
            View.RISE: ViewScale(View.RISE, "blue – dark – red", -1.0, 10.0),
        }
        self._auto = {
            View.TEMPERATURE: AutoLevel(through_zero=False),
            View.RISE: AutoLevel(through_zero=True),
        }
        self._view = View.TEMPERATURE
        self._apparent_baseline_k: NDArray[np.float32] | None = None
        self._baseline_k: NDArray[np.float32] | None = None
        self._source_scale: Scale | None = None
        self._scene = Scene()
        self._camera: CameraProfile | None = None
        self._unit = TemperatureUnit.CELSIUS
        self._quarter_turns = 0
        self._mirrored = False
        self._markers = True
        self._parts = True
        self._smooth = True
        self._mm_per_px: float | None = None

    # -- what is set -------------------------------------------------------------------------

    @property
    def view(self) -> View:
        """Return what colours mean now."""
        return self._view

    @property
    def scale(self) -> ViewScale:
        """Return level, span, colours and band of the present view."""
        return self._scales[self._view]

    @property
    def low_k(self) -> float:
        """Return the lower end of the axis, K (of rise in the rise view)."""
        return self.scale.low_k

    @property
    def high_k(self) -> float:
        """Return the upper end of the axis, K (of rise in the rise view)."""
        return self.scale.high_k

    @property
    def mode(self) -> LevelMode:
        """Return where level and span come from in the present view."""
        return self.scale.mode

    @property
    def colour_map(self) -> str:
        """Return the name of the present view's colour map."""
        return self.scale.colour_map

    @property
    def colour_maps(self) -> tuple[str, ...]:
        """Return the names that `set_colour_map` takes in the present view."""
        return tuple(COLOUR_MAPS[self._view])

    @property
    def isotherm(self) -> tuple[float, float] | None:
        """Return the present view's highlighted band (low_k, high_k); infinite ends are open."""
        return self.scale.isotherm

    @property
    def unit(self) -> TemperatureUnit:
        """Return the unit on screen."""
        return self._unit

    @property
    def quarter_turns(self) -> int:
        """Return how often the picture is turned clockwise by 90°: 0 to 3."""
        return self._quarter_turns

    @property
    def mirrored(self) -> bool:
        """Tell whether left and right are exchanged (before the turning)."""
        return self._mirrored

    @property
    def markers(self) -> bool:
        """Tell whether the hottest and the coldest pixel are marked."""
        return self._markers

    @property
    def parts(self) -> bool:
        """Tell whether the board's parts are drawn, where they are known."""
        return self._parts

    @property
    def smooth(self) -> bool:
        """Tell whether the picture is interpolated between pixels when enlarged."""
        return self._smooth

    @property
    def baseline_k(self) -> NDArray[np.float32] | None:
        """Return the picture that rises are counted from, K, (row, column)."""
        return self._baseline_k

    @property
    def mm_per_px(self) -> float | None:
        """Return the length of a pixel on the board, mm, once a ruler has told it."""
        return self._mm_per_px

    @property
    def relative(self) -> bool:
        """Tell whether the source gives brightness only, so nothing may be shown in degrees."""
        return self._source_scale is not None and self._source_scale.relative

    # -- setting it --------------------------------------------------------------------------

    def start(self, scale: Scale, scene: Scene | None = None) -> None:
        """Begin with another source: no baseline, no ruler, automatic levels afresh."""
        self._source_scale = scale
        self._scene = scene or Scene()
        self._camera = None
        self._apparent_baseline_k = self._baseline_k = None
        self._mm_per_px = None
        self._view = View.TEMPERATURE
        for view, auto in self._auto.items():
            auto.reset()
            self._scales[view] = replace(self._scales[view], mode=LevelMode.AUTO, isotherm=None)
        self._tell()

    def set_scene(self, scene: Scene) -> None:
        """Take over what is known of the scene: with an emissivity, pixels are corrected by it."""
        if scene != self._scene:
            self._scene = scene
            self._convert_anew()

    def set_camera(self, profile: CameraProfile | None) -> None:
        """Take over what the camera is known to do: it is taken out of every pixel."""
        known = profile if profile is not None and profile.corrects else None
        if known != self._camera:
            self._camera = known
            self._convert_anew()

    def _convert_anew(self) -> None:
        if self._apparent_baseline_k is not None:
            self._baseline_k = self.kelvin_of(self._apparent_baseline_k, _UNSCALED)
        for auto in self._auto.values():
            auto.reset()
        self._tell()

    def set_baseline(self, apparent_k: NDArray[np.float32] | None) -> None:
        """Give the picture that rises are counted from; without one the rise view ends.

        Parameters
        ----------
        apparent_k : ndarray of float32, shape (row, column), or None
            Apparent temperatures, K (counts where the source is relative).
        """
        self._apparent_baseline_k = apparent_k
        self._baseline_k = None if apparent_k is None else self.kelvin_of(apparent_k, _UNSCALED)
        self._auto[View.RISE].reset()
        if apparent_k is None:
            self._view = View.TEMPERATURE
        self._tell()

    def set_view(self, view: View) -> None:
        """Show temperature or rise.

        Raises
        ------
        UsageError
            Rise is asked for and there is no baseline yet.
        """
        if view is View.RISE and self._baseline_k is None:
            raise UsageError("there is no baseline to count a rise from; press zero now first")
        self._view = view
        self._tell()

    def set_colour_map(self, name: str) -> None:
        """Choose one of `colour_maps`.

        Raises
        ------
        UsageError
            The present view has no map of this name.
        """
        if name not in COLOUR_MAPS[self._view]:
            raise UsageError(f"{name!r} is no colour map; give {', '.join(self.colour_maps)}")
        self._put(colour_map=name)

    def set_level(self, low_k: float, high_k: float) -> None:
        """Set the axis by hand, K (of rise in the rise view), the ends in any order."""
        low_k, high_k = min(low_k, high_k), max(low_k, high_k)
        if not (np.isfinite(low_k) and np.isfinite(high_k)):
            raise UsageError(f"level {low_k} … {high_k} K: both ends must be finite numbers")
        self._put(low_k=low_k, high_k=max(high_k, low_k + 1e-3), mode=LevelMode.MANUAL)

    def set_mode(self, mode: LevelMode) -> None:
        """Let the axis follow the picture, stop it where it is, or hold it for setting by hand."""
        if mode is LevelMode.AUTO:
            self._auto[self._view].reset()
        self._put(mode=mode)

    def set_isotherm(self, band: tuple[float, float] | None) -> None:
        """Highlight what lies in a band (low_k, high_k), ends included; None ends it."""
        self._put(isotherm=None if band is None else (min(band), max(band)))

    def set_unit(self, unit: TemperatureUnit) -> None:
        """Choose the unit on screen."""
        self._unit = unit
        self._tell()

    def turn(self, quarters: int = 1) -> None:
        """Turn the picture clockwise by so many quarters."""
        self._quarter_turns = (self._quarter_turns + quarters) % 4
        self._tell()

    def mirror(self) -> None:
        """Exchange left and right as they are seen now."""
        self._mirrored = not self._mirrored
        self._quarter_turns = -self._quarter_turns % 4
        self._tell()

    def set_markers(self, on: bool) -> None:
        """Mark the hottest and the coldest pixel, or not."""
        self._markers = on
        self._tell()

    def set_parts(self, on: bool) -> None:
        """Draw the board's parts, where they are known, or not."""
        self._parts = on
        self._tell()

    def set_smooth(self, on: bool) -> None:
        """Interpolate between pixels when enlarged, or not."""
        self._smooth = on
        self._tell()

    def set_mm_per_px(self, mm_per_px: float | None) -> None:
        """State the length of a pixel on the board, mm."""
        self._mm_per_px = mm_per_px
        self._tell()

    def observe(self, frame: Frame) -> None:
        """Let the automatic level follow a frame that is about to be shown."""
        if self.mode is not LevelMode.AUTO or frame.held:
            return
        if self._view is View.RISE:
            bounds = robust_range(self.rise_k(frame))
        else:
            counts = np.array(robust_range(frame.counts), dtype=frame.counts.dtype)
            low_k, high_k = self._convert(frame.scale)(counts).tolist()
            bounds = low_k - _FOOT * (high_k - low_k), high_k
        least = 1.0 if self.relative else _LEAST_SPAN_K
        low_k, high_k = self._auto[self._view].follow(bounds, frame.time_s, least)
        if np.isfinite(low_k) and (low_k, high_k) != (self.low_k, self.high_k):
            self._put(low_k=low_k, high_k=high_k)

    def _tell(self) -> None:
        for callback in self.on_change:
            callback()

    def _put(self, **changes: object) -> None:
        self._scales[self._view] = replace(self.scale, **changes)  # type: ignore[arg-type]
        self._tell()

    # -- colours -----------------------------------------------------------------------------

    def kelvin_of(self, counts: Counts, scale: Scale) -> NDArray[np.float32]:
        """Return temperatures, K, float32, of counts of any shape.

        Object temperatures where the scene states an emissivity, as for a region that states none
        itself; else apparent ones; of a relative scale the counts themselves.
        """
        plain = self._camera is None and setting_for(None, None, self._scene) is None
        if counts.dtype == np.float32 and plain:
            # as `conversion`, without its detour by float64: to be seen, 30 µK are close enough
            scale = _UNSCALED if scale.relative else scale
            kelvin: NDArray[np.float32] = counts * np.float32(scale.k_per_count)
            kelvin += np.float32(scale.offset_k)
            return kelvin
        return self._convert(scale)(counts)

    def rise_k(self, frame: Frame) -> NDArray[np.float32]:
        """Return the frame's rise over the baseline, K, float32, (row, column)."""
        if self._baseline_k is None:
            raise UsageError("there is no baseline to count a rise from; press zero now first")
        rise: NDArray[np.float32] = self.kelvin_of(frame.counts, frame.scale) - self._baseline_k
        return rise

    def _convert(self, scale: Scale) -> Callable[[Counts], NDArray[np.float32]]:
        if scale.relative:
            return conversion(_UNSCALED, None)
        return conversion(scale, setting_for(None, None, self._scene), self._camera)

    def rgb_of(self, levels_k: NDArray[np.floating]) -> NDArray[np.uint8]:
        """Return the map's colours of levels, K: uint8, shape of `levels_k` + (3,)."""
        return self.scale.rgb_of(levels_k)

    def lut(self, n: int = 256) -> NDArray[np.uint8]:
        """Return `n` colours from the axis' low end to its high end: uint8, (n, 3), RGB."""
        return self.rgb_of(np.linspace(self.low_k, self.high_k, n))

    def colour_of(self, level_k: float) -> QColor:
        """Return the picture's colour of a level, K (of rise in the rise view)."""
        return QColor(*(int(c) for c in self.rgb_of(np.array(level_k))))

    @property
    def band_colour(self) -> QColor:
        """Return the colour of the highlighted band."""
        return self.scale.band_colour

    def argb_of(self, levels_k: NDArray[np.floating], *, band: bool = True) -> NDArray[np.uint32]:
        """Return the picture's colours 0xAARRGGBB of levels, K: band highlighted, NaN grey."""
        return self.scale.argb_of(levels_k, band=band)

    @property
    def settings_key(self) -> Hashable:
        """Return what colours depend on, to tell whether a table of them still holds."""
        return self.scale, self._scene, self._camera, self.relative
