"""Pictures for exports and reports: a frame with its colour scale, regions and readings."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Mapping
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import Ellipse as EllipsePatch
from matplotlib.patches import Patch
from matplotlib.patches import Polygon as PolygonPatch
from matplotlib.patches import Rectangle as RectanglePatch
from matplotlib.text import Annotation
from numpy.typing import NDArray

from thermview.frames import Footage, Frame
from thermview.radiometry.shiny import ShinyMap
from thermview.regions import Ellipse, Line, Polygon, Rectangle, Region, RegionSet, Shape, Spot
from thermview.session.export import frame_values
from thermview.session.judging import judge_of
from thermview.session.measure import STATISTICS, MeasureKey, Meter
from thermview.session.remarks import surface_remarks
from thermview.units import TemperatureUnit

COLOURS = "inferno"
RISE_COLOURS = "RdBu_r"
DOTS_PER_INCH = 100
PICTURE_WIDTH_PX = 1100
LINE_LETTERS = 150  # of small print under a picture
SPAN_PERCENTILES = (0.5, 99.9)


def new_figure(width_px: int, height_px: int) -> Figure:
    """Return an empty figure of a size in pixels, drawn without a display."""
    figure = Figure((width_px / DOTS_PER_INCH, height_px / DOTS_PER_INCH), dpi=DOTS_PER_INCH)
    FigureCanvasAgg(figure)
    figure.set_layout_engine("constrained")
    return figure


def picture_size(frame: Frame) -> tuple[int, int]:
    """Return the size in pixels of a figure that a frame and its scale fill well."""
    rows, columns = frame.shape
    height = PICTURE_WIDTH_PX * 0.84 * rows / columns + 90
    return PICTURE_WIDTH_PX, int(min(height, 2 * PICTURE_WIDTH_PX)) // 2 * 2


def save(figure: Figure, path: Path) -> None:
    """Write a figure as PNG."""
    figure.savefig(path, format="png")


def pixels(figure: Figure) -> NDArray[np.uint8]:
    """Return a figure's pixels, shape (row, column, 3), red, green, blue."""
    canvas = figure.canvas
    assert isinstance(canvas, FigureCanvasAgg)
    canvas.draw()  # type: ignore[no-untyped-call]
    rgba = np.asarray(canvas.buffer_rgba(), dtype=np.uint8)  # type: ignore[no-untyped-call]
    return rgba[:, :, :3].copy()


def save_frame(
    path: Path, footage: Footage, frame: Frame, regions: RegionSet, unit: TemperatureUnit
) -> None:
    """Write a frame as a PNG for people: scale, regions with their readings, when and of what."""
    worth = RegionWords(footage, regions, unit)
    figure = new_figure(*picture_size(frame))
    axes = figure.subplots()
    kind = ", simulated" if footage.info.simulated else ""
    title = f"{footage.info.title or footage.info.name}{kind}, {frame.time_s:.2f} s"
    draw_frame(axes, frame, unit=unit, title=title)
    draw_regions(axes, regions, worth.of(frame))
    draw_shiny(axes, worth.shiny)
    write_below(axes, worth.remarks)
    save(figure, path)


class RegionWords:
    """Says each region's highest temperature in a frame, with its standard uncertainty.

    What is not readable, or apparent only, says so.

    Parameters
    ----------
    footage : Footage
        Whose frames they are: it tells scene, camera and noise.
    regions : RegionSet
    unit : TemperatureUnit
    """

    def __init__(self, footage: Footage, regions: RegionSet, unit: TemperatureUnit) -> None:
        self._judge, self._unit = judge_of(footage), unit
        self._regions = regions.regions
        scale, profile = footage.info.scale, self._judge.profile
        self._scale = scale
        keys = [MeasureKey.of(r, self._judge.scene, scale, profile) for r in self._regions]
        self._meter = Meter(keys, (footage.info.height_px, footage.info.width_px), scale)

    @property
    def shiny(self) -> ShinyMap | None:
        """Return which pixels mirror too much to be read, where that is known."""
        return self._judge.shiny

    @property
    def remarks(self) -> list[str]:
        """Return what must be said of the regions' surfaces."""
        return surface_remarks(self._regions, self._judge)

    def of(self, frame: Frame) -> dict[str, str]:
        """Return the words by region id."""
        table = self._meter.measure(frame.counts)
        return {
            region.id: self._words(region, dict(zip(STATISTICS, row.tolist(), strict=True)))
            for region, row in zip(self._regions, table, strict=True)
        }

    def _words(self, region: Region, at: dict[str, float]) -> str:
        judge, unit = self._judge, self._unit
        if not np.isfinite(at["max_x"]):
            return "out of view"
        worth = judge.temperature(region, "max", at["max"], place=(at["max_x"], at["max_y"]))
        if not worth.readable:
            return f"not readable: {worth.reason}"
        if self._scale.relative:
            return f"{worth.value_k:.1f} counts"
        number = f"{unit.from_kelvin(worth.value_k):.1f} ± {worth.u_k * unit.per_kelvin:.1f}"
        apparent = "" if judge.setting(region) else " apparent"
        return f"{number} {unit.symbol}{apparent}"


def draw_frame(
    axes: Axes,
    frame: Frame,
    *,
    unit: TemperatureUnit = TemperatureUnit.CELSIUS,
    span: tuple[float, float] | None = None,
    title: str = "",
) -> None:
    """Draw a frame's apparent temperatures with their scale.

    Parameters
    ----------
    axes : matplotlib axes
        Where.
    frame : Frame
        What.
    unit : TemperatureUnit
        Of the scale; a source without temperatures is drawn in counts.
    span : (low, high), optional
        Ends of the scale, in the unit; by percentiles unless given.
    title : str
        Stands above.
    """
    values = frame_values(frame, unit)
    what = "brightness, counts" if frame.scale.relative else f"apparent, {unit.symbol}"
    _draw(axes, values, span or robust_span(values), colours=COLOURS, what=what, title=title)


def draw_shiny(axes: Axes, shiny: ShinyMap | None) -> None:
    """Hatch what mirrors too much to be read, as the window does, and say so below."""
    if shiny is None or not (shiny.known and shiny.mask.any()):
        return
    rows, columns = shiny.mask.shape
    inside = np.pad(shiny.mask.astype(np.float32), 1)  # so that what meets the side is closed
    hatched = axes.contourf(
        np.arange(-1, columns + 1) + 0.5,
        np.arange(-1, rows + 1) + 0.5,
        inside,
        levels=[0.5, 1.5],
        colors="none",
        hatches=["////"],
    )
    hatched.set_edgecolor("0.6")  # seen on dark and on bright ground
    hatched.set_linewidth(0.0)
    write_below(axes, ["hatched: shiny, not readable"])


def write_below(axes: Axes, remarks: Iterable[str]) -> None:
    """Write sentences under a picture, below what stands there already."""
    lines = [line for remark in remarks for line in textwrap.wrap(remark, LINE_LETTERS)]
    axes.set_xlabel("\n".join([axes.get_xlabel(), *lines]).strip(), fontsize=8, loc="left")


def draw_rise(axes: Axes, rise_k: NDArray[np.float32], title: str = "") -> None:
    """Draw rises above the baseline, K, zero in the middle of the scale."""
    most = float(np.nanpercentile(np.abs(rise_k), 99.99)) or 1.0
    _draw(axes, rise_k, (-most, most), colours=RISE_COLOURS, what="rise, K", title=title)


def robust_span(values: NDArray[np.float64]) -> tuple[float, float]:
    """Return a scale's ends that a few hot or dead pixels do not move."""
    known = values[np.isfinite(values)]
    if not known.size:
        return 0.0, 1.0
    low, high = np.percentile(known, SPAN_PERCENTILES)
    return float(low), float(max(high, low + 1e-3))


def _draw(
    axes: Axes,
    values: NDArray[np.floating],
    span: tuple[float, float],
    *,
    colours: str,
    what: str,
    title: str,
) -> None:
    rows, columns = values.shape
    image = axes.imshow(
        values, cmap=colours, vmin=span[0], vmax=span[1], extent=(0, columns, rows, 0)
    )
    figure = axes.figure
    assert isinstance(figure, Figure)
    figure.colorbar(image, ax=axes, label=what, fraction=0.04, aspect=28)
    axes.autoscale(False)  # what is drawn over the picture does not widen it
    axes.set_title(title, fontsize=10)
    axes.set_xlabel("column, px")
    axes.set_ylabel("row, px")


def draw_regions(
    axes: Axes, regions: RegionSet, words: Mapping[str, str] | None = None, colour: str = "white"
) -> dict[str, Annotation]:
    """Outline regions and write each one's name and words (by region id) beside it.

    Returns
    -------
    dict of str to Annotation
        What was written, by region id: `label_text` of other words takes its place.
    """
    labels = {}
    for region in regions.regions:
        patch = outline(region.shape)
        if patch is not None:
            patch.set(fill=False, edgecolor=colour, linewidth=1.0)
            axes.add_patch(patch)
        x0, y0, x1, _ = region.shape.bounds()
        match region.shape:
            case Spot(x, y):
                axes.plot([x], [y], "+", color=colour, markersize=8)
            case Line():
                axes.plot([region.shape.x1, region.shape.x2], [region.shape.y1, region.shape.y2],
                          color=colour, linewidth=1.0)  # fmt: skip
        text = label_text(region, (words or {}).get(region.id, ""))
        labels[region.id] = _label(axes, (x0 + x1) / 2, y0, text, colour)
    return labels


def label_text(region: Region, words: str) -> str:
    """Return what stands beside a region: its name and the words."""
    return f"{region.name} {words}".strip()


def draw_outlines(axes: Axes, outlines: Mapping[str, NDArray[np.float64]], chosen: str) -> None:
    """Outline parts, corners (x, y) in px; one stands out by weight and carries its name."""
    for name, corners in outlines.items():
        known = name == chosen
        axes.add_patch(
            PolygonPatch(
                corners,
                fill=False,
                edgecolor="black" if known else "grey",
                linewidth=2.0 if known else 0.4,
            )
        )
        if known:
            _label(axes, corners[:, 0].mean(), corners[:, 1].min(), name, "black")


def outline(shape: Shape) -> Patch | None:
    """Return a shape's outline as a patch; None for a spot and a line."""
    match shape:
        case Rectangle(x, y, width, height):
            return RectanglePatch((x, y), width, height)
        case Ellipse(cx, cy, rx, ry):
            return EllipsePatch((cx, cy), 2 * rx, 2 * ry)
        case Polygon(points):
            return PolygonPatch(np.asarray(points))
    return None


def _label(axes: Axes, x: float, y: float, text: str, colour: str) -> Annotation:
    plate = "black" if colour == "white" else "white"
    return axes.annotate(
        text,
        (x, y),
        (0, 3),
        textcoords="offset points",
        ha="center",
        va="bottom",
        clip_on=True,
        fontsize=8,
        color=colour,
        bbox={"facecolor": plate, "alpha": 0.6, "edgecolor": "none", "pad": 1.5},
        annotation_clip=True,
    )
