"""Picture of a comparison: both rises on the board's plane, their difference, the accused."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.image import AxesImage
from matplotlib.patheffects import withStroke
from numpy.typing import NDArray

from thermview.analysis.pair.compare import Comparison
from thermview.analysis.pair.readings import Compared

RISE_COLOURS = "inferno"
DIFFERENCE_COLOURS = "RdBu_r"
SIGNS = {"colder": "v", "hotter": "^"}
MOST_BARS = 14


def draw_comparison(figure: Figure, found: Comparison) -> None:
    """Draw both boards alike, what differs, and the parts by how unusual they are."""
    (good_axes, bad_axes), (difference_axes, bars) = figure.subplots(2, 2)
    good = found.rise_k[0] * found.level
    bad = found.rise_k[1]
    high = float(np.percentile(found.rise_k, 99.5))
    for axes, rise, title in (
        (good_axes, good, "good board: rise at the common level, K"),
        (bad_axes, bad, f"the other board: rise {found.until_s:.0f} s after power-on, K"),
    ):
        shown = _picture(axes, found, rise, (0.0, high), RISE_COLOURS)
        axes.set_title(title, fontsize=10)
        figure.colorbar(shown, ax=axes, shrink=0.8)
    difference = bad - good
    span = max(float(np.percentile(np.abs(difference), 99.5)), 0.1)
    shown = _picture(difference_axes, found, difference, (-span, span), DIFFERENCE_COLOURS)
    difference_axes.set_title("difference: the other board minus the good one, K", fontsize=10)
    figure.colorbar(shown, ax=difference_axes, shrink=0.8)
    for one in found.subjects:
        if sign := SIGNS.get(one.verdict):
            for axes in (good_axes, bad_axes, difference_axes):
                axes.plot(one.x_mm, one.y_mm, sign, color="white", markeredgecolor="black")
                words = axes.annotate(
                    one.name, (one.x_mm, one.y_mm), (4, 4), textcoords="offset points"
                )
                words.set_path_effects([withStroke(linewidth=2.5, foreground="white")])
    _bars(bars, found.ranked()[:MOST_BARS])


def _picture(
    axes: Axes,
    found: Comparison,
    picture: NDArray[np.float32],
    span: tuple[float, float],
    colours: str,
) -> AxesImage:
    x, y = found.plane.origin_mm
    rows, columns = found.plane.shape
    pitch = found.plane.pitch_mm
    extent = (x, x + columns * pitch, y, y + rows * pitch)
    shown = axes.imshow(
        picture, cmap=colours, vmin=span[0], vmax=span[1], extent=extent, origin="lower"
    )
    axes.set_xlabel("x, mm")
    axes.set_ylabel("y, mm")
    return shown


def _bars(axes: Axes, listed: list[Compared]) -> None:
    listed = [one for one in listed if np.isfinite(one.power_bad_w)]
    at = np.arange(len(listed))
    good = [1e3 * one.power_good_w for one in listed]
    bad = [1e3 * one.power_bad_w for one in listed]
    sigma = [1e3 * one.sigma_w for one in listed]
    axes.barh(at - 0.2, good, 0.4, label="good board", color="0.7")
    axes.barh(at + 0.2, bad, 0.4, xerr=sigma, label="the other", color="C0")
    axes.set_yticks(at, [f"{one.name}  {one.verdict}" for one in listed])
    axes.invert_yaxis()
    axes.set_xlabel("dissipation, mW (with its standard uncertainty)")
    axes.set_title("most unusual first", fontsize=10)
    axes.legend(fontsize=8)
