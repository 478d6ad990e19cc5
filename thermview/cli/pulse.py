"""`thermview pulse`: amplitude and phase images for a pulsed supply."""

from __future__ import annotations

import argparse
import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

from thermview.cli.options import (
    add_force,
    add_format,
    add_input,
    open_options,
    period_or_auto,
    print_json,
    progress,
)
from thermview.errors import UsageError

if TYPE_CHECKING:
    from thermview.analysis.lockin import Harmonic
    from thermview.frames import Footage

SMALL_PART_M2 = 1.6e-3 * 0.8e-3
"""The limit is told for a chip of size 0603."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's options."""
    add_input(parser)
    parser.add_argument("out", type=Path, metavar="OUT.npz", help="amplitude, phase, noise")
    parser.add_argument(
        "--period",
        type=period_or_auto,
        required=True,
        metavar="S",
        help="of the pulsed supply, s; auto: as its log or else the pictures tell",
    )
    parser.add_argument(
        "--power-on", type=float, metavar="S", help="when the supply first switched on, s"
    )
    parser.add_argument("--plot", type=Path, metavar="OUT.png", help="a picture of both")
    add_format(parser)
    add_force(parser)


def run(options: argparse.Namespace) -> int:
    """Fit the first harmonic and write the images."""
    import numpy as np

    from thermview.analysis.period import period_of
    from thermview.analysis.pulse import pulse
    from thermview.job.findings import draw_harmonic
    from thermview.job.pictures import new_figure, save
    from thermview.paths import writing
    from thermview.sources import open_footage

    if options.out.suffix.lower() != ".npz":
        raise UsageError(f"{options.out} does not end in .npz; pulse writes that format")
    footage = open_footage(options.recording, open_options(options))
    try:
        period_s = options.period
        if math.isnan(period_s):
            with progress("looking for the period") as told:
                period_s = period_of(footage, told)
        with progress("looking") as told:
            harmonic, on_s, how = pulse(footage, period_s, on_s=options.power_on, progress=told)
        with writing(options.out, force=options.force) as path:
            np.savez_compressed(
                path,
                amplitude=harmonic.amplitude_k,
                phase=harmonic.phase_rad,
                noise=harmonic.noise_k,
                periods=np.float64(harmonic.periods),
            )
        if options.plot is not None:
            with writing(options.plot, force=options.force) as path:
                figure = new_figure(1100, 1300)
                draw_harmonic(figure, footage, harmonic)
                save(figure, path)
        facts = describe(harmonic, footage, period_s, on_s=on_s, how=how)
    finally:
        footage.close()
    if options.format == "json":
        print_json(facts)
    else:
        for name, value in facts.items():
            print(f"{name.replace('_', ' ') + ':':28} {value}")
    return 0


def describe(
    harmonic: Harmonic, footage: Footage, period_s: float, *, on_s: float, how: str
) -> dict[str, Any]:
    """Return what the images say in few numbers."""
    import numpy as np

    from thermview.analysis.lockin import amplitude_k_per_w, seconds_until, smallest_power_w

    row, column = np.unravel_index(int(np.argmax(harmonic.amplitude_k)), harmonic.amplitude_k.shape)
    noise_k = float(np.median(harmonic.noise_k))
    per_w = amplitude_k_per_w(period_s, SMALL_PART_M2)
    smallest_w = smallest_power_w(noise_k, per_w)
    seconds = harmonic.periods * period_s
    return {
        "period_s": round(period_s, 4),
        "periods": round(harmonic.periods, 3),
        "switched_on_s": round(on_s, 3),
        "switched_on_from": how,
        "largest_amplitude_K": round(float(harmonic.amplitude_k[row, column]), 5),
        "largest_x_px": float(column) + 0.5,
        "largest_y_px": float(row) + 0.5,
        "noise_K": round(noise_k, 6),
        "smallest_power_W": float(f"{smallest_w:.3g}"),
        "seconds_to_half_of_it": round(seconds_until(smallest_w / 2, seconds, smallest_w), 1),
    }
