"""Pictures of findings: the rise with the suspects on it, and their curves with the fitted heat."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from matplotlib.figure import Figure
from numpy.typing import NDArray

from thermview.analysis.locate import Located
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
