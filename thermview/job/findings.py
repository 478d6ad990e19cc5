"""Pictures of findings: the rise with the suspects on it, and their curves with the fitted heat."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from matplotlib.figure import Figure
from numpy.typing import NDArray

from thermview.analysis.heat.findings import Located
from thermview.analysis.lockin import Harmonic
from thermview.frames import Footage
from thermview.job.pictures import draw_outlines, draw_rise

MOST_CURVES = 4


def draw_findings(
    figure: Figure, footage: Footage, located: Located, outlines: Mapping[str, NDArray[np.float64]]
) -> None:
    """Draw what `locate` found: the picture's rise above, the first suspects' curves below."""
    above, below = figure.subplots(2, 1, height_ratios=(3, 1.4))
    kind = ", simulated" if footage.info.simulated else ""
    first = located.suspects[0] if located.suspects else None
    verdict = f"first suspect {first.part}" if first and located.heated else "nothing warms"
    name = footage.info.title or footage.info.name
    draw_rise(above, located.rise_k, f"{name}{kind}: rise, {verdict}")
    draw_outlines(above, outlines, first.part if first else "")
    for place in located.elsewhere:
        if place.path_px:
            above.plot(*zip(*place.path_px, strict=True), color="black", linewidth=1.2)
        above.plot([place.x_px], [place.y_px], "x", color="black", markersize=8)
    for number, suspect in enumerate(located.suspects[:MOST_CURVES]):
        colour = f"C{number}"
        label = f"{suspect.part}, {suspect.nature.value}"
        below.plot(located.times_s, suspect.curve_k, color=colour, linewidth=0.6, alpha=0.6)
        below.plot(located.times_s, suspect.fitted_k, color=colour, linewidth=1.6, label=label)
    if located.power_on_s is not None:
        below.axvline(located.power_on_s, color="grey", linewidth=0.8)
    if located.suspects:
        below.legend(fontsize=8, loc="upper left")
    below.set_xlabel("time, s")
    below.set_ylabel("rise over the surroundings, K")


def draw_harmonic(figure: Figure, footage: Footage, harmonic: Harmonic) -> None:
    """Draw a pulse test's amplitude above and its phase below, grey where noise rules."""
    above, below = figure.subplots(2, 1)
    rows, columns = harmonic.amplitude_k.shape
    kind = ", simulated" if footage.info.simulated else ""
    name = footage.info.title or footage.info.name
    extent = (0, columns, rows, 0)
    most = float(np.percentile(harmonic.amplitude_k, 99.95))
    image = above.imshow(
        harmonic.amplitude_k * 1e3, cmap="inferno", vmin=0, vmax=most * 1e3, extent=extent
    )
    figure.colorbar(image, ax=above, label="amplitude, mK", fraction=0.04, aspect=28)
    above.set_title(f"{name}{kind}: {harmonic.periods:.1f} periods", fontsize=10)
    sure = harmonic.amplitude_k > 3 * harmonic.noise_k
    phase = np.where(sure, np.degrees(harmonic.phase_rad), np.nan)
    below.set_facecolor("lightgrey")
    turned = below.imshow(phase, cmap="twilight", vmin=-180, vmax=180, extent=extent)
    figure.colorbar(turned, ax=below, label="phase, °; negative is later", fraction=0.04, aspect=28)
    for axes in (above, below):
        axes.set_xlabel("column, px")
        axes.set_ylabel("row, px")
