"""A board to simulate: its sheet, copper, parts and tracks; and the heat model made of them."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from thermview.board import Part
from thermview.simulation.anatomy import FACE_FILM_W_M2_K, Anatomy, anatomy_of
from thermview.simulation.grid import Grid
from thermview.simulation.heat import Bodies, HeatSheet

Floats = NDArray[np.float64]

FR4_W_MK = 1.059  # in plane: Sarvar, Poole, Witting, J. Electron. Mater. 19 (1990) 1345
FR4_J_M3K = 1850.0 * 1100.0  # from memory
COPPER_W_MK = 401.0
COPPER_J_M3K = 8933.0 * 385.0  # from memory


@dataclass(frozen=True, slots=True)
class Copper:
    """A rectangle of the board with more (or less) copper: total thickness of metal, µm."""

    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float
    um: float


@dataclass(frozen=True, slots=True)
class Track:
    """A track that may warm: corners, mm, and its width."""

    corners_mm: tuple[tuple[float, float], ...]
    width_mm: float = 1.0


@dataclass(frozen=True)
class Circuit:
    """A board: y up, origin at its lower left corner.

    Attributes
    ----------
    width_mm, height_mm, thickness_mm : float
    parts : tuple of Part
        Bodies in this order, then the tracks, are the *places* that powers are given for.
    tracks : tuple of Track
    copper_um : float
        Everywhere, all layers together, signal tracks' share included.
    copper : tuple of Copper
        Areas that differ; later ones lie over earlier ones.
    film_w_m2_k : float
        Loss of one face.
    cell_mm : float
        Of the heat sheet.
    bare : tuple of Part
        Rectangles of bare tinned metal, shiny, such as pads for testing.
    body_scale : tuple of (heat, link)
        Factors on all bodies' capacity and link, for trials with other constants.
    landmarks_mm : tuple of (x, y)
        Places that are easily found in the picture.
    """

    width_mm: float
    height_mm: float
    parts: tuple[Part, ...]
    tracks: tuple[Track, ...] = ()
    bare: tuple[Part, ...] = ()
    thickness_mm: float = 1.6
    copper_um: float = 6.0
    copper: tuple[Copper, ...] = ()
    film_w_m2_k: float = FACE_FILM_W_M2_K
    cell_mm: float = 0.5
    body_scale: tuple[float, float] = (1.0, 1.0)
    landmarks_mm: tuple[tuple[float, float], ...] = field(default=())

    @property
    def places(self) -> int:
        """Return the number of places that can be given power: parts, then tracks."""
        return len(self.parts) + len(self.tracks)

    @cached_property
    def grid(self) -> Grid:
        """Return the heat sheet's grid."""
        return Grid.over(self.width_mm, self.height_mm, self.cell_mm)

    @cached_property
    def anatomies(self) -> tuple[Anatomy, ...]:
        """Return the parts' bodies, in their order."""
        return tuple(anatomy_of(part) for part in self.parts)

    def number(self, designator: str) -> int:
        """Return the place number of a part."""
        return next(i for i, p in enumerate(self.parts) if p.designator == designator)

    def copper_map_um(self) -> Floats:
        """Return the thickness of copper, µm, over the heat sheet's grid."""
        metal = np.full(self.grid.shape, self.copper_um)
        x, y = self.grid.centres_mm()
        for area in self.copper:
            across = (x >= area.x_mm) & (x < area.x_mm + area.width_mm)
            up = (y >= area.y_mm) & (y < area.y_mm + area.height_mm)
            metal[np.ix_(up, across)] = area.um
        return metal

    def heat_model(self) -> HeatSheet:
        """Return the board at rest at the surroundings' temperature."""
        metal_m = self.copper_map_um() * 1e-6
        sheet_m = self.thickness_mm * 1e-3
        cover = self.grid.footprints(self.parts)
        covered = np.minimum(cover.sum(axis=0), 1.0).reshape(self.grid.shape)
        film = self.film_w_m2_k * (2.0 - covered)  # a body takes over the face that it covers
        return HeatSheet(
            cell_m=self.cell_mm * 1e-3,
            capacity=FR4_J_M3K * sheet_m + COPPER_J_M3K * metal_m,
            conductance=FR4_W_MK * sheet_m + COPPER_W_MK * metal_m,
            film=film,
            shape=self.grid.shape,
            bodies=self._bodies(cover),
        )

    def _bodies(self, cover: sparse.csr_array) -> Bodies:
        size_m = np.array([(p.width_mm, p.height_mm) for p in self.parts]).reshape(-1, 2) * 1e-3
        area = size_m.prod(axis=1)
        tall_m = np.array([a.thickness_mm for a in self.anatomies]) * 1e-3
        heat, link = self.body_scale
        exposed = area + 2.0 * size_m.sum(axis=1) * tall_m
        return Bodies(
            capacity_j_k=heat * area * tall_m * np.array([a.heat_j_m3_k for a in self.anatomies]),
            conductance_w_k=link * np.array([a.link_w_k for a in self.anatomies]),
            film_w_k=self.film_w_m2_k * exposed,
            footprint=_rows_to_one(cover),
        )

    def track_shares(self) -> sparse.csr_array:
        """Return how each track's power is shared over the sheet's cells, (tracks, cells)."""
        pieces = [tuple(_segments(track)) for track in self.tracks]
        flat = self.grid.footprints(tuple(p for track in pieces for p in track))
        owner = np.repeat(np.arange(len(pieces)), [len(track) for track in pieces])
        ones = np.ones(len(owner))
        gather = sparse.csr_array(
            (ones, (owner, np.arange(len(owner)))), shape=(len(pieces), len(owner))
        )
        return _rows_to_one(sparse.csr_array(gather @ flat))


def _segments(track: Track) -> list[Part]:
    """Return a track's straight pieces as rectangles."""
    pieces = []
    for (x0, y0), (x1, y1) in zip(track.corners_mm, track.corners_mm[1:], strict=False):
        length = float(np.hypot(x1 - x0, y1 - y0))
        angle = float(np.degrees(np.arctan2(y1 - y0, x1 - x0)))
        middle = ((x0 + x1) / 2, (y0 + y1) / 2)
        pieces.append(Part("", "", *middle, angle, width_mm=length, height_mm=track.width_mm))
    return pieces


def _rows_to_one(shares: sparse.csr_array) -> sparse.csr_array:
    total = shares.sum(axis=1)
    scale = np.divide(1.0, total, out=np.zeros_like(total), where=total > 0)
    return sparse.csr_array(sparse.diags_array(scale) @ shares)
