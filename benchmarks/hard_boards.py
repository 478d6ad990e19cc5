"""Random boards for hard trials: parts, copper, smooth fields. All of it is simulated.

Numerics of their own (explicit sheet, exponential bodies, see `hard_cases`), apart from the
program's simulated board, so that a method is not judged by the model that it was built on.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

CELL_MM = 0.5
FINE = 2  # render cells per heat cell
SIZES = {  # package: body mm along and across, height mm
    "0402": (1.0, 0.5, 0.4),
    "0603": (1.6, 0.8, 0.5),
    "0805": (2.0, 1.25, 0.7),
    "1206": (3.2, 1.6, 0.9),
    "SOT-23": (2.9, 1.3, 1.0),
    "SOIC-8": (4.9, 3.9, 1.5),
    "TSSOP-14": (5.0, 4.4, 1.0),
    "LQFP-64": (10.0, 10.0, 1.4),
    "CAN": (8.0, 8.0, 6.0),
    "XTAL": (11.0, 4.7, 3.5),
    "RELAY": (19.0, 15.0, 15.0),
    "CONN": (15.0, 8.0, 8.0),
    "IND": (8.0, 8.0, 4.0),
}
LARGE = ("RELAY", "CONN", "CAN", "XTAL", "IND", "LQFP-64")
METAL = {"CAN": (0.15, 0.4), "XTAL": (0.1, 0.3)}
IN_A_ROW = 7


@dataclass
class Part:
    """A part: mm on the board, y up; `w` and `h` with the rotation applied."""

    ref: str
    package: str
    x: float
    y: float
    rot: int
    w: float
    h: float
    height: float
    emissivity: float
    power_w: float = 0.0  # when the board is powered


class _Placer:
    def __init__(self, rng: np.random.Generator, width: float, height: float) -> None:
        self.rng, self.width, self.height = rng, width, height
        self.parts: list[Part] = []
        self._counts: dict[str, int] = {}

    def free(self, x: float, y: float, w: float, h: float, gap: float) -> bool:
        inside_x = w / 2 + 1.5 < x < self.width - w / 2 - 1.5
        inside_y = h / 2 + 1.5 < y < self.height - h / 2 - 1.5
        return (
            inside_x
            and inside_y
            and all(
                abs(x - p.x) > (w + p.w) / 2 + gap or abs(y - p.y) > (h + p.h) / 2 + gap
                for p in self.parts
            )
        )

    def add(self, prefix: str, package: str, x: float, y: float, rot: int) -> None:
        along, across, tall = SIZES[package]
        w, h = (across, along) if rot == 90 else (along, across)
        self._counts[prefix] = self._counts.get(prefix, 0) + 1
        low, high = METAL.get(package, (0.85, 0.96))
        emissivity = float(self.rng.uniform(low, high))
        ref = f"{prefix}{self._counts[prefix]}"
        self.parts.append(Part(ref, package, x, y, rot, w, h, tall, emissivity))

    def scatter(self, prefix: str, package: str, count: int) -> None:
        for _ in range(count):
            for _try in range(200):
                rot = int(self.rng.choice([0, 90]))
                along, across, _tall = SIZES[package]
                w, h = (across, along) if rot == 90 else (along, across)
                x = float(self.rng.uniform(3, self.width - 3))
                y = float(self.rng.uniform(3, self.height - 3))
                if self.free(x, y, w, h, 0.4):
                    self.add(prefix, package, x, y, rot)
                    break

    def row(self) -> list[str]:
        """Place equal small parts close together; return their names."""
        package = str(self.rng.choice(["0402", "0603", "0805"]))
        along, across, _tall = SIZES[package]
        pitch = across + float(self.rng.uniform(0.3, 0.6))
        for _try in range(500):
            x0 = float(self.rng.uniform(8, self.width - 20))
            y0 = float(self.rng.uniform(8, self.height - 8))
            places = [x0 + i * pitch for i in range(IN_A_ROW)]
            if all(self.free(x, y0, across, along, 0.3) for x in places):
                for x in places:
                    self.add("C", package, x, y0, 90)
                return [p.ref for p in self.parts[-IN_A_ROW:]]
        return []


def place(
    rng: np.random.Generator, width: float, height: float, row: bool
) -> tuple[list[Part], list[str]]:
    """Return random parts on a board, mm, and the names of those in a tight row, if asked for."""
    placer = _Placer(rng, width, height)
    counts: list[tuple[str, str, int]] = [
        ("K", "RELAY", 2),
        ("J", "CONN", 3),
        ("U", "LQFP-64", 1),
        ("L", "IND", 2),
        ("C", "CAN", 3),
        ("Y", "XTAL", 1),
        ("U", "SOIC-8", int(rng.integers(6, 10))),
        ("U", "TSSOP-14", int(rng.integers(3, 6))),
        ("Q", "SOT-23", int(rng.integers(4, 9))),
        ("C", "1206", 4),
        ("C", "0805", 14),
        ("C", "0603", 22),
        ("R", "0603", 20),
        ("R", "0402", 14),
        ("C", "0402", 12),
    ]
    for prefix, package, count in counts:
        placer.scatter(prefix, package, count)
    return placer.parts, placer.row() if row else []


def copper_map(rng: np.random.Generator, ny: int, nx: int) -> tuple[Floats, Floats]:
    """Return conductance κ of the sheet, W/K, and its heat capacity, J/m²K, per cell."""
    kd = np.full((ny, nx), rng.uniform(0.3, 1.2) * 1.6e-3)
    style = rng.choice(["none", "some", "planes"])
    if style == "planes":
        kd += rng.uniform(0.008, 0.03)
        for _ in range(rng.integers(0, 4)):  # slots in the plane
            x, y = rng.integers(0, nx), rng.integers(0, ny)
            kd[y : y + rng.integers(4, 40), x : x + rng.integers(4, 60)] *= 0.3
    elif style == "some":
        for _ in range(rng.integers(3, 12)):
            x, y = rng.integers(0, nx), rng.integers(0, ny)
            kd[y : y + rng.integers(10, 70), x : x + rng.integers(10, 90)] += rng.uniform(
                0.004, 0.014
            )
    kd = np.minimum(kd, 0.035)
    capacity = rng.uniform(0.85, 1.15) * 1850 * 1100 * 1.6e-3 + 3.45e6 * kd / 400
    return kd, capacity


def smooth_field(
    rng: np.random.Generator, shape: tuple[int, int], cells: int
) -> NDArray[np.float32]:
    """Return a smooth random picture of unit variance at its knots."""
    small = rng.normal(size=(cells, cells)).astype(np.float32)
    size = (shape[1], shape[0])
    return np.asarray(cv2.resize(small, size, interpolation=cv2.INTER_CUBIC), np.float32)


def smooth_path(rng: np.random.Generator, count: int, fps: float, cutoff_hz: float) -> Floats:
    """Return four smooth random courses of unit deviation, shape (count, 4)."""
    path = rng.normal(size=(count + 200, 4))
    kernel = np.exp(-0.5 * (np.arange(-100, 101) / (fps / (2 * np.pi * cutoff_hz))) ** 2)
    runs = [np.convolve(path[:, j], kernel, "same")[100 : 100 + count] for j in range(4)]
    out = np.stack(runs, axis=1)
    return np.asarray(out / out.std(axis=0))
