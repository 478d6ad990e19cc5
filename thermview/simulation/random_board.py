"""Random boards: parts of many sizes thrown without overlap, uneven copper, varied constants."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermview.board import Part, body_size_mm
from thermview.simulation.circuit import Circuit, Copper, Track

Floats = NDArray[np.float64]

_ROW_LENGTH = 8


@dataclass(frozen=True, slots=True)
class _Lot:
    """So many parts of one kind, from the least to the most."""

    prefix: str
    package: str
    least: int
    most: int
    size_mm: tuple[float, float] | None = None


_LOTS = (  # large ones first: they need room
    _Lot("K", "RELAY", 0, 2, (19.0, 15.0)),
    _Lot("J", "TERMINAL-3", 1, 3, (15.0, 8.0)),
    _Lot("Y", "HC49", 1, 1),
    _Lot("U", "LQFP-64", 0, 1),
    _Lot("U", "LQFP-48", 0, 1),
    _Lot("C", "CP_Elec_8x10", 0, 2),
    _Lot("L", "L_8x8", 0, 2),
    _Lot("U", "SOIC-16W", 0, 2),
    _Lot("U", "TSSOP-20", 0, 3),
    _Lot("U", "SOT-223", 0, 2),
    _Lot("U", "SOIC-8", 2, 6),
    _Lot("C", "TANTALUM CASE-C", 1, 3),
    _Lot("C", "TANTALUM CASE-B", 1, 3),
    _Lot("D", "SMA", 1, 5),
    _Lot("Q", "SOT-23", 3, 9),
    _Lot("C", "0805", 4, 10),
    _Lot("C", "0603", 12, 25),
    _Lot("C", "0402", 4, 14),
    _Lot("R", "0805", 2, 8),
    _Lot("R", "0603", 10, 25),
    _Lot("R", "0402", 4, 12),
)


def random_circuit(rng: np.random.Generator, *, row: bool = False) -> Circuit:
    """Return a random board; with `row`, some of its capacitors stand 0.3 to 0.6 mm apart.

    Those of the row carry the value ``in a row``.
    """
    width = float(rng.integers(80, 131))
    height = float(rng.integers(60, 96))
    thrower = _Thrower(rng, width, height)
    if row:
        thrower.throw_row()
    for lot in _LOTS:
        for _ in range(int(rng.integers(lot.least, lot.most + 1))):
            thrower.throw(lot)
    for _ in range(int(rng.integers(15, 60))):
        thrower.throw_pad()
    planes = rng.random() < 0.4
    return Circuit(
        width_mm=width,
        height_mm=height,
        parts=tuple(thrower.parts),
        tracks=_tracks(rng, width, height),
        bare=tuple(thrower.pads),
        thickness_mm=float(rng.choice([0.8, 1.0, 1.6, 1.6, 2.0])),
        copper_um=float(rng.uniform(35, 70) if planes else rng.uniform(0, 20)),
        copper=_copper(rng, width, height),
        film_w_m2_k=float(rng.uniform(6.0, 14.0)),
        body_scale=(float(rng.lognormal(0, 0.2)), float(rng.lognormal(0, 0.3))),
        landmarks_mm=(
            (5.0, 5.0),
            (width - 5.0, 5.0),
            (width - 5.0, height - 5.0),
            (5.0, height - 5.0),
            (width / 2, height / 2),
        ),
    )


def _copper(rng: np.random.Generator, width: float, height: float) -> tuple[Copper, ...]:
    areas = []
    for _ in range(int(rng.integers(2, 9))):
        across, up = rng.uniform(8, width / 2), rng.uniform(8, height / 2)
        x, y = rng.uniform(0, width - across), rng.uniform(0, height - up)
        areas.append(
            Copper(float(x), float(y), float(across), float(up), float(rng.uniform(0, 70)))
        )
    return tuple(areas)


def _tracks(rng: np.random.Generator, width: float, height: float) -> tuple[Track, ...]:
    if rng.random() < 0.5:
        return ()
    places = rng.uniform([5, 5], [width - 5, height - 5], (3, 2))
    corners = tuple((float(x), float(y)) for x, y in places)
    return (Track(corners, float(rng.uniform(0.4, 1.5))),)


class _Thrower:
    """Throws parts onto a board until they lie apart."""

    def __init__(self, rng: np.random.Generator, width: float, height: float) -> None:
        self.rng, self.width, self.height = rng, width, height
        self.parts: list[Part] = []
        self.pads: list[Part] = []
        self._boxes = np.zeros((0, 4))
        self._numbers: dict[str, int] = {}

    def throw(self, lot: _Lot, tries: int = 60) -> None:
        """Place one part of a lot, or none where no room is found."""
        size = lot.size_mm or body_size_mm(lot.package) or (2.0, 2.0)
        for _ in range(tries):
            turn = float(self.rng.choice([0.0, 90.0]))
            w, h = size if turn == 0.0 else size[::-1]
            x = float(self.rng.uniform(w / 2 + 2, self.width - w / 2 - 2))
            y = float(self.rng.uniform(h / 2 + 2, self.height - h / 2 - 2))
            box = np.array([x - w / 2, y - h / 2, x + w / 2, y + h / 2])
            if not self._hits(box, float(self.rng.choice([0.4, 0.8, 1.2]))):
                place = (round(x, 2), round(y, 2), turn)
                name = self._name(lot.prefix)
                self._lay(Part(name, lot.package, *place, "top", "", *size), box)
                return

    def throw_pad(self) -> None:
        """Leave a pad of bare metal where no part is, or none."""
        x, y = self.rng.uniform([3, 3], [self.width - 3, self.height - 3])
        w, h = self.rng.uniform(0.8, 2.5, 2)
        box = np.array([x - w / 2, y - h / 2, x + w / 2, y + h / 2])
        if not self._hits(box, 0.3):
            pad = Part("", "", float(x), float(y), width_mm=float(w), height_mm=float(h))
            self.pads.append(pad)
            self._boxes = np.vstack([self._boxes, box])

    def throw_row(self) -> None:
        """Place a row of capacitors side by side, 0.3 to 0.6 mm apart."""
        package = str(self.rng.choice(["0402", "0603"]))
        size = body_size_mm(package) or (1.0, 0.5)
        gap = float(self.rng.uniform(0.3, 0.6))
        x = float(self.rng.uniform(15, self.width - 15 - _ROW_LENGTH * (size[1] + gap)))
        y = float(self.rng.uniform(15, self.height - 15))
        for number in range(_ROW_LENGTH):
            at = x + number * (size[1] + gap)
            half = np.array([size[1], size[0]]) / 2
            box = np.array([at - half[0], y - half[1], at + half[0], y + half[1]])
            place = (round(at, 2), round(y, 2), 90.0)
            self._lay(Part(self._name("C"), package, *place, "top", "in a row", *size), box)

    def _hits(self, box: Floats, gap: float) -> bool:
        boxes = self._boxes
        apart = (
            (boxes[:, 0] > box[2] + gap)
            | (boxes[:, 2] < box[0] - gap)
            | (boxes[:, 1] > box[3] + gap)
            | (boxes[:, 3] < box[1] - gap)
        )
        return not bool(apart.all())

    def _lay(self, part: Part, box: Floats) -> None:
        self.parts.append(part)
        self._boxes = np.vstack([self._boxes, box])

    def _name(self, prefix: str) -> str:
        number = self._numbers[prefix] = self._numbers.get(prefix, 0) + 1
        return f"{prefix}{number}"
