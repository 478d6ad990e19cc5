"""The chart drawn once and kept: ground, curves and labels in one image of device pixels."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QPointF, QRectF
from PySide6.QtGui import QColor, QImage, QPainter

from thermview.analysis.decimate import PixelColumns
from thermview.frames import Mark
from thermview.ui.display import Display
from thermview.ui.strip.axis import level_ticks
from thermview.ui.strip.content import Content, Curve, Lane
from thermview.ui.strip.ends import paint_labels, paint_other_axes, paint_signs
from thermview.ui.strip.ground import Ground, mark_places, small_font
from thermview.ui.strip.layout import lay_out
from thermview.ui.strip.raster import draw_band
from thermview.ui.strip.timeline import Timeline, ValueAxis, steady_range
from thermview.ui.theme import Theme

Band = tuple[NDArray[np.float32], NDArray[np.float32]]
"""Lowest and highest value in every device pixel column."""

LINE_PX = 1.6
HEAVY_PX = 3.2
_LEAST_SUPPLY = 1e-4  # V, A: a supply that is off is a flat line at the foot, not noise
_LEAST_DIFFERENCE_K = 0.02
DOUBT_COVER = 0.4
"""Of a curve's colour, in the band of its standard uncertainty."""
_LIMIT_REACH = 0.5  # of the range: a limit that near is taken into view


@dataclass(frozen=True, slots=True, eq=False)
class Drawn:
    """A curve as it stands on the chart: per device pixel column lowest and highest value.

    `doubt` is the same of its value less and more its standard uncertainty; None without one.
    """

    curve: Curve
    axis: ValueAxis
    low: NDArray[np.float32]
    high: NDArray[np.float32]
    doubt: Band | None = None

    def y_at(self, column: int) -> float:
        """Return the curve's height in a pixel column, px; NaN where it is not."""
        if not 0 <= column < len(self.low):
            return float("nan")
        return self.axis.y_of(float(self.low[column] + self.high[column]) / 2)


class Plot:
    """One drawing of the chart, and where everything on it is.

    Parameters
    ----------
    size : (width, height)
        Of the widget, logical px.
    pixel_ratio : float
        Device px per logical px.
    kept_range : (low, high) or None
        Range of the main axis so far, K; kept while it fits.
    """

    def __init__(
        self,
        content: Content,
        timeline: Timeline,
        display: Display,
        *,
        theme: Theme,
        size: tuple[int, int],
        pixel_ratio: float,
        kept_range: tuple[float, float] | None = None,
    ) -> None:
        self.content, self.timeline, self.display = content, timeline, display
        self.theme, self.size, self.pixel_ratio = theme, size, pixel_ratio
        self.lanes = lay_out(*size, content.lanes)
        self.columns = max(round(self.lanes.width * pixel_ratio), 1)
        self.labels: dict[str, QRectF] = {}
        self.marks = mark_places(content.marks, timeline, self.lanes)
        bands, doubts = self._bands()
        self.axes = self._axes(bands, doubts, kept_range)
        self.drawn = [
            Drawn(curve, self.axes[curve.lane], low, high, doubts.get(curve))
            for curve, (low, high) in bands.items()
        ]
        self.image = self._paint()

    @property
    def main(self) -> ValueAxis:
        """Return the axis of the main lane."""
        return self.axes[Lane.MAIN]

    # ---- what is where ---------------------------------------------------------------------

    def x_of(self, time_s: float) -> float:
        """Return where a moment is, logical px."""
        return self.lanes.left + self.timeline.x_of(time_s, self.lanes.width)

    def time_of(self, x_px: float) -> float:
        """Return the moment at a place, s."""
        return self.timeline.time_of(x_px - self.lanes.left, self.lanes.width)

    def column_of(self, x_px: float) -> int:
        """Return the pixel column of the curves at a place."""
        return int((x_px - self.lanes.left) * self.pixel_ratio)

    def curve_at(self, x_px: float, y_px: float, reach_px: float = 5.0) -> str | None:
        """Return the id of the region or difference whose curve or label is at a place."""
        for key, label in self.labels.items():
            if label.contains(QPointF(x_px, y_px)):
                return key
        column = self.column_of(x_px)
        apart = [(abs(d.y_at(column) - y_px), d.curve.id) for d in self.drawn if d.curve.id]
        near = [(a, key) for a, key in apart if a <= reach_px]
        return min(near)[1] if near else None

    def mark_at(self, x_px: float, y_px: float, reach_px: float = 8.0) -> Mark | None:
        """Return the mark whose sign is at a place."""
        if y_px > self.lanes.rail.bottom():
            return None
        apart = [(abs(x - x_px), i) for i, (_, x) in enumerate(self.marks)]
        near = [(a, i) for a, i in apart if a <= reach_px]
        return self.marks[min(near)[1]][0] if near else None

    # ---- measuring -------------------------------------------------------------------------

    def _bands(self) -> tuple[dict[Curve, Band], dict[Curve, Band]]:
        """Return what every curve covers, and what the band of its uncertainty does."""
        line = self.timeline
        frames = PixelColumns.of(
            self.content.times_s,
            line.start_s,
            line.end_s,
            self.columns,
            self.content.longest_step_s,
        )
        supply = None
        if self.content.supply is not None:
            supply = PixelColumns.of(
                self.content.supply.time_s, line.start_s, line.end_s, self.columns
            )
        bands, doubts = {}, {}
        for curve in self.content.curves:
            shares = supply if curve.lane.is_supply and supply is not None else frames
            bands[curve] = shares.band(curve.values)
            if curve.doubts is not None:
                low = shares.band(curve.values - curve.doubts)[0]
                doubts[curve] = low, shares.band(curve.values + curve.doubts)[1]
        return bands, doubts

    def _axes(
        self,
        bands: dict[Curve, Band],
        doubts: dict[Curve, Band],
        kept_range: tuple[float, float] | None,
    ) -> dict[Lane, ValueAxis]:
        axes = {}
        for lane, place in self.lanes.of.items():
            covered = (*bands.items(), *doubts.items())
            ends = [_extent(*band) for curve, band in covered if curve.lane is lane]
            low = min((e[0] for e in ends if e is not None), default=0.0)
            high = max((e[1] for e in ends if e is not None), default=0.0)
            if lane is Lane.MAIN:
                known = any(e is not None for e in ends)
                self._curves_k = (low, high) if known else None
                low, high = steady_range(self._main_range(), kept_range)
            elif lane is Lane.DIFFERENCE:
                reach = 1.15 * max(abs(low), abs(high), _LEAST_DIFFERENCE_K)
                low, high = -reach, reach
            else:
                low, high = min(low, 0.0), 1.15 * max(high, _LEAST_SUPPLY)
            axes[lane] = ValueAxis(low, high, place.top(), place.bottom())
        return axes

    def still_fits(self) -> bool:
        """Tell whether the main axis would stay as it is with the display's present span."""
        shown = (self.main.low, self.main.high)
        return steady_range(self._main_range(), shown) == shown

    def _main_range(self) -> tuple[float, float]:
        """Return what the main lane must show: colours, curves, and limits not far off."""
        low, high = self.display.low_k, self.display.high_k
        if self._curves_k is not None:
            low, high = min(low, self._curves_k[0]), max(high, self._curves_k[1])
        reach = _LIMIT_REACH * (high - low)
        limits = [c.limit_k for c in self.content.curves if c.limit_k is not None]
        near = [k for k in limits if low - reach <= k <= high + reach]
        return min([low, *near]), max([high, *near])

    # ---- painting --------------------------------------------------------------------------

    def _paint(self) -> QImage:
        width, height = (max(round(side * self.pixel_ratio), 1) for side in self.size)
        pixels = np.empty((height, width), dtype=np.uint32)
        image = QImage(pixels.data, width, height, 4 * width, QImage.Format.Format_RGB32)
        image.setDevicePixelRatio(self.pixel_ratio)
        image.fill(QColor(self.theme.panel))
        self._paint_under(image)
        self._draw_curves(pixels)
        self._paint_over(image)
        self._pixels = pixels  # the image only borrows this memory
        return image

    def _ground(self, painter: QPainter) -> Ground:
        painter.setFont(small_font(self.theme))
        return Ground(painter, self.theme, self.content, self.timeline, self.lanes)

    def _paint_under(self, image: QImage) -> None:
        painter = QPainter(image)
        ground = self._ground(painter)
        ground.paint_lanes()
        ground.paint_grid(self.main, [tick[0] for tick in level_ticks(self.display, self.main)])
        ground.paint_spans()
        if self.content.measuring:
            ground.paint_unmeasured(self._empty_columns(), self.pixel_ratio)
        paint_other_axes(painter, self)
        ground.paint_limits(self.main)
        ground.paint_mark_lines()
        painter.end()

    def _paint_over(self, image: QImage) -> None:
        painter = QPainter(image)
        ground = self._ground(painter)
        paint_signs(painter, self)
        self.labels = paint_labels(painter, self)
        ground.paint_baseline_bracket(self.main)
        ground.paint_marks(self.marks)
        ground.paint_time_axis()
        painter.end()

    def _draw_curves(self, pixels: NDArray[np.uint32]) -> None:
        ratio = self.pixel_ratio
        left = round(self.lanes.left * ratio)
        chosen = any(d.curve.selected for d in self.drawn)
        for drawn in sorted(self.drawn, key=lambda d: d.curve.selected):
            curve, axis = drawn.curve, drawn.axis
            half = (HEAVY_PX if curve.selected else LINE_PX) * ratio / 2
            top = round(axis.top_px * ratio)
            lane = pixels[top : round(axis.bottom_px * ratio)]
            faint = chosen and not curve.selected and bool(curve.id)
            colour = _mixed(curve.colour, self.theme.sunken, 0.35 if faint else 0.0)
            if drawn.doubt is not None:
                low, high = (_heights(axis, values, ratio) for values in drawn.doubt)
                draw_band(lane, left, high, low, colour, cover=DOUBT_COVER)
            low, high = (_heights(axis, values, ratio) for values in (drawn.low, drawn.high))
            draw_band(lane, left, high - half, low + half, colour)

    def _empty_columns(self) -> NDArray[np.bool_]:
        """Return which pixel columns of the film hold no number of any region yet."""
        at_s = np.linspace(self.timeline.start_s, self.timeline.end_s, self.columns)
        empty = (at_s >= self.timeline.first_s) & (at_s <= self.timeline.last_s)
        for drawn in self.drawn:
            if drawn.curve.lane is Lane.MAIN:
                empty &= np.isnan(drawn.low)
        for start_s, end_s in (*self.content.held_s, *self.content.gaps_s):
            empty &= (at_s < start_s) | (at_s > end_s)
        return empty


def _heights(axis: ValueAxis, values: NDArray[np.float32], ratio: float) -> NDArray[np.floating]:
    """Return values' heights in device px from the top of their lane's pixels."""
    foot = axis.bottom_px * ratio - round(axis.top_px * ratio)
    return foot - (values - axis.low) * (ratio / axis.per_px)


def _extent(low: NDArray[np.float32], high: NDArray[np.float32]) -> tuple[float, float] | None:
    """Return lowest and highest number of a band; None where it holds none."""
    lowest = float(np.fmin.reduce(low))
    return None if np.isnan(lowest) else (lowest, float(np.fmax.reduce(high)))


def _mixed(colour: str, ground: str, share: float) -> int:
    """Return a colour with a share of the ground mixed in, as 0xRRGGBB."""
    one, two = QColor(colour), QColor(ground)
    red = round(one.red() * (1 - share) + two.red() * share)
    green = round(one.green() * (1 - share) + two.green() * share)
    blue = round(one.blue() * (1 - share) + two.blue() * share)
    return red << 16 | green << 8 | blue
