"""Object temperature of whole pictures: look-up beside the same equation in bare numpy.

Run: ``python benchmarks/bench_radiometry.py``. Both sides see the same 640×512 picture with 20
regions of differing emissivity, in one process, in turns of a few pictures each, as a film has
them; the medians and their ratios to the bare numpy evaluation are printed.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from thermview.frames import Scale
from thermview.radiometry import FrameConverter, Setting, band_radiance

ROWS, COLUMNS, REGIONS, TURNS, IN_A_ROW = 512, 640, 20, 20, 5
GOAL = 40.0
SCALE = Scale(0.01, 0.0)


def scene() -> tuple[NDArray[np.uint16], list[tuple[NDArray[np.bool_], Setting]]]:
    """Return a noisy picture in counts and 20 regions with settings of their own."""
    rng = np.random.default_rng(1)
    ramp = np.linspace(29_500, 33_000, COLUMNS) + rng.normal(0.0, 8.0, (ROWS, COLUMNS))
    regions = []
    for number in range(REGIONS):
        mask = np.zeros((ROWS, COLUMNS), dtype=np.bool_)
        row, column = divmod(number, 5)
        mask[20 + 120 * row : 110 + 120 * row, 10 + 125 * column : 110 + 125 * column] = True
        regions.append((mask, Setting(0.5 + 0.02 * number, 290.0 + number)))
    return ramp.astype(np.uint16), regions


class BareNumpy:
    """The measurement equation per pixel: radiance and its inverse by `np.interp`."""

    def __init__(self, default: Setting, regions: list[tuple[NDArray[np.bool_], Setting]]) -> None:
        band = band_radiance()
        self.grid_k = np.linspace(150.0, 900.0, 7501)
        self.radiance = band.radiance(self.grid_k)
        self.eps = np.full((ROWS, COLUMNS), default.emissivity)
        room = np.full((ROWS, COLUMNS), default.reflected_k)
        for mask, setting in regions:
            self.eps[mask], room[mask] = setting.emissivity, setting.reflected_k
        self.mirrored = (1.0 - self.eps) * band.radiance(room)

    def kelvin(self, counts: NDArray[np.uint16]) -> NDArray[np.float64]:
        """Return object temperatures, K."""
        apparent_k = counts * SCALE.k_per_count + SCALE.offset_k
        seen = np.interp(apparent_k, self.grid_k, self.radiance)
        own = (seen - self.mirrored) / self.eps
        return np.asarray(np.interp(own, self.radiance, self.grid_k))


def closed_form(counts: NDArray[np.uint16], bare: BareNumpy) -> NDArray[np.float64]:
    """Return the same by Sakuma-Hattori's closed form (2 mK): bare numpy at its quickest."""
    a, b, c, c2 = 9.331744, 179.4192, 6822.093, 14387.76877
    apparent_k = counts * SCALE.k_per_count + SCALE.offset_k
    seen = c / np.expm1(c2 / (a * apparent_k + b))
    own = (seen - bare.mirrored) / bare.eps
    return np.asarray((c2 / np.log1p(c / own) - b) / a)


def seconds(work: Callable[[], object]) -> float:
    """Return how long one call takes."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def main() -> None:
    """Print the medians and ratios."""
    counts, regions = scene()
    default = Setting(0.95)
    converter = FrameConverter((ROWS, COLUMNS), SCALE, default, list(regions))
    bare = BareNumpy(default, regions)
    out = np.empty((ROWS, COLUMNS), dtype=np.float32)
    works: dict[str, Callable[[], object]] = {
        "look-up, array used again": lambda: converter.kelvin(counts, out),
        "look-up, new array": lambda: converter.kelvin(counts),
        "numpy, interpolated": lambda: bare.kelvin(counts),
        "numpy, closed form": lambda: closed_form(counts, bare),
    }
    worst_k = float(np.abs(converter.kelvin(counts) - bare.kelvin(counts)).max())
    times: dict[str, list[float]] = {name: [] for name in works}
    for _ in range(TURNS):
        for name, work in works.items():
            times[name] += [seconds(work) for _ in range(IN_A_ROW)]
    medians = {name: statistics.median(values) for name, values in times.items()}
    print(f"{COLUMNS}×{ROWS}, {REGIONS} differing regions, worst difference {worst_k * 1e3:.2f} mK")
    bare_s = medians["numpy, interpolated"]
    for name, value in medians.items():
        print(f"  {name:26s} {value * 1e3:7.2f} ms a picture   {bare_s / value:5.1f} times as fast")
    print(f"  goal: a look-up {GOAL:g} times as fast as the same equation in numpy, interpolated")


if __name__ == "__main__":
    main()
