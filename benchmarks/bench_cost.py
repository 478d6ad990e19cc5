"""Cost of `locate` on a recording of 256 x 192, 12.5 per second, 14 s, beside a plain version.

python benchmarks/bench_cost.py [RECORDING]

The plain version takes the same steps as a user's own script would, with h5py, numpy and scipy:
read, rise, high-pass each picture, find the step in each part's curve, project on answers of
several lags, look everywhere for discs of three sizes, solve for the parts' powers. It says
nothing of natures, uncertainties or of what is on no part.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
import warnings
from collections.abc import Callable
from pathlib import Path

import h5py
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, laplace
from scipy.optimize import OptimizeWarning, curve_fit, nnls
from scipy.signal import fftconvolve

from thermview.analysis.heat.locate import locate
from thermview.board import Part, outlines_seen
from thermview.recording.reader import open_recording
from thermview.regions import Polygon, pixel_mask
from thermview.session.boards import Board, board_of
from thermview.simulation.trials import film, random_story

ROUNDS = 5
LAGS_S = np.geomspace(0.1, 20.0, 6)
SIZES_PX = (3.0, 8.0, 18.0)
Floats = NDArray[np.float64]


def write(path: Path) -> Board:
    """Write a trial's recording by plain h5py; return its board."""
    made = film(random_story(3, "strong"), 3)
    with h5py.File(path, "w") as file:
        data = file.create_dataset("entry/thermal/counts", data=made.counts)
        data.attrs["scale_factor"] = made.scale.k_per_count
        data.attrs["add_offset"] = made.scale.offset_k
        file["entry/thermal/time"] = made.times_s
    return Board.of(made.parts, made.landmarks)


def ours(path: Path, board: Board) -> str:
    footage = open_recording(path)
    found = locate(footage, board.parts, board.view)
    footage.close()
    return found.suspects[0].part if found.suspects else ""


def one_pole(times_s: Floats, on_s: float, lag_s: float, size: float) -> Floats:
    return np.asarray(size * -np.expm1(-np.maximum(times_s - on_s, 0.0) / abs(lag_s)))


def plain(path: Path, board: Board) -> str:
    with h5py.File(path) as file:
        data = file["entry/thermal/counts"]
        kelvin = data[:].astype(np.float64) * data.attrs["scale_factor"]
        times_s = file["entry/thermal/time"][:]
    rise = kelvin - kelvin[:20].mean(axis=0)
    narrow = np.stack([picture - gaussian_filter(picture, 12.0) for picture in rise])
    shape = rise.shape[1:]
    outlines = outlines_seen(board.parts, board.view)
    masks = {
        n: pixel_mask(Polygon(tuple(map(tuple, c.tolist()))), shape) for n, c in outlines.items()
    }
    masks = {name: mask for name, mask in masks.items() if mask.any()}
    curves = {name: narrow[:, mask].mean(axis=1) for name, mask in masks.items()}
    fits = []
    warnings.simplefilter("ignore", OptimizeWarning)  # curves that show no step
    for curve in curves.values():
        try:
            fit, _ = curve_fit(one_pole, times_s, curve, p0=(4.0, 2.0, curve[-1]), maxfev=200)
            fits.append((float(np.sum((curve - one_pole(times_s, *fit)) ** 2)), float(fit[0])))
        except RuntimeError:  # no fit
            continue
    on_s = min(fits)[1]
    answers = np.stack([one_pole(times_s, on_s, lag, 1.0) for lag in LAGS_S], axis=1)
    modes = np.linalg.svd(answers, full_matrices=False)[0][:, :4]
    pictures = np.tensordot(modes, narrow, axes=(0, 0))
    y, x = np.mgrid[-24:25, -24:25]
    for size in SIZES_PX:
        disc = gaussian_filter((np.hypot(x, y) < size / 2).astype(float), 1.5)
        for picture in pictures:
            fftconvolve(picture, disc, mode="same")
    sources = -laplace(gaussian_filter(pictures[0], 1.5))
    heat = np.stack([gaussian_filter(mask.astype(float), 4.0).ravel() for mask in masks.values()])
    powers, _ = nnls(heat @ heat.T, heat @ np.abs(sources).ravel())
    return list(masks)[int(np.argmax(powers))]


def median_s(run: Callable[[], object]) -> float:
    taken = []
    for _ in range(ROUNDS):
        begun = time.perf_counter()
        run()
        taken.append(time.perf_counter() - begun)
    return statistics.median(taken)


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(folder) / "trial.h5"
        board = write(path) if len(sys.argv) < 2 else board_of(open_recording(path), path)
        assert board is not None
        parts: tuple[Part, ...] = board.parts
        ours(path, board), plain(path, board)  # warm
        our_s, plain_s = median_s(lambda: ours(path, board)), median_s(lambda: plain(path, board))
        print(f"{len(parts)} parts; locate {our_s:.2f} s, plain scipy {plain_s:.2f} s", end="; ")
        print(f"ratio {our_s / plain_s:.2f}")


if __name__ == "__main__":
    main()
