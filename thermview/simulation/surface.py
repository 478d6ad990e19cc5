"""The board as it radiates: a fine map of radiance, from temperatures, finishes and the room."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from thermview.board import Part
from thermview.simulation.anatomy import BENCH, MASK, SOLDER, Finish
from thermview.simulation.circuit import Circuit
from thermview.simulation.grid import Grid
from thermview.simulation.heat import HeatSheet
from thermview.simulation.radiance import RANGE_K, Picture, radiance_of
from thermview.simulation.room import Room

Floats = NDArray[np.float64]

FINER = 2  # cells of the map along a cell of the heat sheet
MARGIN_MM = 30.0  # bench around the board
_CAP_MM = 0.35  # solder and cap at the end of a chip part
_MASK_UNEVEN = 0.012  # copper and print under the mask show through as patches


class Surface:
    """Renders radiance, W/m²sr, over `grid`: the board with a margin of bench.

    Parameters
    ----------
    circuit : Circuit
    room : Room
    rng : numpy.random.Generator
        For the mask's patches.
    """

    def __init__(self, circuit: Circuit, room: Room, rng: np.random.Generator) -> None:
        fine_mm = circuit.cell_mm / FINER
        self._margin = round(MARGIN_MM / circuit.cell_mm) * FINER
        self.grid = Grid.over(circuit.width_mm, circuit.height_mm, fine_mm, self._margin)
        self.room = room
        shown = [i for i, part in enumerate(circuit.parts) if part.side == "top"]
        self._shown = np.array(shown, dtype=np.int64)
        parts = tuple(circuit.parts[i] for i in shown)
        finishes = tuple(circuit.anatomies[i].finish for i in shown)
        cover = self.grid.footprints(parts)
        self._bare: Picture = np.maximum(1.0 - cover.sum(axis=0), 0.0).astype(np.float32)
        self._bodies = sparse.csr_array(cover.T).astype(np.float32)  # (cells, shown parts)
        caps = tuple(
            cap
            for part, i in zip(parts, shown, strict=True)
            if circuit.anatomies[i].capped
            for cap in _caps(part)
        )
        emissivity, mirror = self._finish(finishes, (*circuit.bare, *caps), rng)
        self.emissivity: Picture = emissivity.reshape(self.grid.shape).astype(np.float32)
        self._light_the_room(emissivity, mirror)

    def _finish(
        self,
        finishes: tuple[Finish, ...],
        bare: tuple[Part, ...],
        rng: np.random.Generator,
    ) -> tuple[Floats, Floats]:
        """Return emissivity and mirror-like share of every cell: board, bare metal, bodies."""
        on_board = np.zeros(self.grid.shape)
        m = self._margin
        on_board[m:-m, m:-m] = 1.0
        patches = _patches(rng, self.grid.shape) * _MASK_UNEVEN
        board = on_board.ravel()
        emissivity = board * (MASK.emissivity + patches.ravel()) + (1 - board) * BENCH.emissivity
        mirror = board * MASK.mirror + (1 - board) * BENCH.mirror
        layers = [
            (self.grid.footprints(bare), (SOLDER,) * len(bare)),
            (sparse.csr_array(self._bodies.T), finishes),
        ]
        for cover, finish in layers:
            share = np.minimum(cover.sum(axis=0), 1.0)
            laid = np.array([(f.emissivity, f.mirror) for f in finish]).reshape(-1, 2)
            emissivity = emissivity * (1 - share) + cover.T @ laid[:, 0]
            mirror = mirror * (1 - share) + cover.T @ laid[:, 1]
        return np.clip(emissivity, 0.0, 1.0), np.clip(mirror, 0.0, 1.0)

    def _light_the_room(self, emissivity: Floats, mirror: Floats) -> None:
        """Prepare what does not change: the mirrored room, and where a hand would be seen."""
        x, y = self.grid.centres_mm()
        lean = (x - x[0]) / (x[-1] - x[0]) - 0.5
        wall = np.broadcast_to(self.room.reflected_k + self.room.gradient_k * lean, self.grid.shape)
        room = radiance_of(np.ascontiguousarray(wall, dtype=np.float32)).ravel()
        self._mirrored: Picture = ((1 - emissivity) * room).astype(np.float32)
        glint = (1 - emissivity) * mirror
        self._glints = np.flatnonzero(glint > 0.03)
        self._glint = glint[self._glints]
        self._glint_x = x[self._glints % self.grid.columns]
        self._glint_y = y[self._glints // self.grid.columns]
        self._dull: Picture = ((1 - emissivity) * (1 - mirror)).astype(np.float32)
        if self.room.hand is not None:
            pair = np.array([self.room.hand.kelvin, self.room.reflected_k], dtype=np.float32)
            skin, wall_mean = radiance_of(pair)
            self._skin = float(skin - wall_mean)

    def kelvin(self, heat: HeatSheet) -> Picture:
        """Return every cell's true surface temperature, K, no higher than can be rendered."""
        m = self._margin
        rows, columns = self.grid.shape
        sheet = np.zeros(self.grid.shape, dtype=np.float32)
        size = (columns - 2 * m, rows - 2 * m)
        sheet[m:-m, m:-m] = cv2.resize(heat.rise_k.astype(np.float32), size)
        flat = sheet.reshape(-1)
        flat *= self._bare
        flat += self._bodies @ heat.body_rise_k[self._shown].astype(np.float32)
        sheet += np.float32(self.room.ambient_k)
        return np.minimum(sheet, np.float32(RANGE_K[1]), out=sheet)

    def radiance(self, heat: HeatSheet, time_s: float) -> Picture:
        """Return the radiance towards the camera of every cell."""
        radiance = radiance_of(self.kelvin(heat))
        radiance *= self.emissivity
        flat = radiance.reshape(-1)
        flat += self._mirrored
        if self.room.hand is not None:
            cover = self.room.hand.cover(self._glint_x, self._glint_y, time_s)
            flat[self._glints] += (self._glint * cover * self._skin).astype(np.float32)
            if near := self._nearness(time_s):
                flat += self._dull * np.float32(0.06 * near * self._skin)
        return radiance

    def _nearness(self, time_s: float) -> float:
        """Return how much of its greatest share a dull surface sees of the hand, 0 to 1."""
        assert self.room.hand is not None
        x, y = self.room.hand.place_mm(time_s)
        centre_x = self.grid.left_mm + self.grid.columns * self.grid.cell_mm / 2
        centre_y = self.grid.top_mm - self.grid.rows * self.grid.cell_mm / 2
        near = float(np.exp(-((x - centre_x) ** 2 + (y - centre_y) ** 2) / 100.0**2))
        return near if near > 0.01 else 0.0


def _caps(part: Part) -> tuple[Part, Part]:
    """Return the soldered ends of a chip part, reaching a little past its body."""
    angle = np.deg2rad(part.rotation_deg)
    reach = part.width_mm / 2 + _CAP_MM / 2
    dx, dy = float(reach * np.cos(angle)), float(reach * np.sin(angle))
    cap = replace(part, width_mm=_CAP_MM)
    return (
        replace(cap, x_mm=part.x_mm - dx, y_mm=part.y_mm - dy),
        replace(cap, x_mm=part.x_mm + dx, y_mm=part.y_mm + dy),
    )


def _patches(rng: np.random.Generator, shape: tuple[int, int]) -> Floats:
    """Return a smooth random pattern of standard deviation 1: copper areas and print."""
    coarse = rng.standard_normal((shape[0] // 12, shape[1] // 12))
    wide = cv2.resize(coarse, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC)
    pattern: Floats = wide / wide.std()
    return pattern
