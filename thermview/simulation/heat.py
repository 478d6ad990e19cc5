"""Heat flow in a board: a thin sheet with uneven copper, and a body for every part.

The sheet obeys C ∂T/∂t = ∇·(κ∇T) − h(T − T_amb) + q, with C = ρcd (J/m²K) and κ = kd (W/K), in
finite volumes, so that energy is kept to rounding. Its flow is stepped explicitly in substeps
below the stability limit: at a board's cell size that is a handful a frame, each a few passes over
the grid. Bodies are stepped by backward Euler, which is stable however small a body is; what they
give the cells under them flows in evenly over the step, so that what is at rest stays so.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import sparse
from scipy.sparse.linalg import splu

Floats = NDArray[np.float64]

MAX_STEP_S = 0.02
"""Longest step between exchanges of sheet and bodies: short against every visible body's lag."""


@dataclass(frozen=True, slots=True, eq=False)
class Bodies:
    """Parts as lumps of heat on the sheet, arrays of one entry a body.

    Attributes
    ----------
    capacity_j_k : ndarray
        Heat capacity, J/K.
    conductance_w_k : ndarray
        From the body to the sheet under it, W/K, shared over its footprint.
    film_w_k : ndarray
        From the body to the surroundings, W/K.
    footprint : scipy.sparse.csr_array, shape (bodies, cells)
        Share of each cell (row-major) in each footprint; rows sum to 1.
    """

    capacity_j_k: Floats
    conductance_w_k: Floats
    film_w_k: Floats
    footprint: sparse.csr_array

    def __len__(self) -> int:
        return len(self.capacity_j_k)


class HeatSheet:
    """A board's temperatures above the surroundings, stepped in time.

    Parameters
    ----------
    cell_m : float
        Side of the square cells, m.
    capacity : array_like, J/m²K
    conductance : array_like, W/K
        Thickness times conductivity.
    film : array_like, W/m²K
        Loss to the surroundings, both faces together.
    shape : (rows, columns)
        The three above are scalars or of this shape.
    bodies : Bodies, optional

    Attributes
    ----------
    rise_k : ndarray of float64, shape `shape`
        Of the sheet above the surroundings.
    body_rise_k : ndarray of float64, shape (bodies,)
    lost_j : float
        Heat given to the surroundings since the start, J.
    """

    def __init__(
        self,
        *,
        cell_m: float,
        capacity: ArrayLike,
        conductance: ArrayLike,
        film: ArrayLike,
        shape: tuple[int, int],
        bodies: Bodies | None = None,
    ) -> None:
        area = cell_m**2
        self.cell_m = cell_m
        self.bodies = bodies
        self._capacity = np.array(np.broadcast_to(capacity, shape), dtype=np.float64) * area
        self._film = np.array(np.broadcast_to(film, shape), dtype=np.float64) * area
        kappa = np.array(np.broadcast_to(conductance, shape), dtype=np.float64)
        self._across = _between(kappa[:, :-1], kappa[:, 1:])
        self._down = _between(kappa[:-1], kappa[1:])
        self.rise_k: Floats = np.zeros(shape)
        self.body_rise_k: Floats = np.zeros(0 if bodies is None else len(bodies))
        self.lost_j = 0.0
        self._work = np.empty(shape)
        self._flow_across = np.empty_like(self._across)
        self._flow_down = np.empty_like(self._down)
        self.stable_s = self._stable_step_s()
        if bodies is not None:
            rows = bodies.footprint.indptr
            self._cell = bodies.footprint.indices
            self._owner = np.repeat(np.arange(len(bodies)), np.diff(rows))
            self._link = bodies.footprint.data * bodies.conductance_w_k[self._owner]  # W/K a cell
            self._given_w = np.zeros(len(self._cell))

    def _stable_step_s(self) -> float:
        """Return the longest explicit step: twice the largest diagonal keeps every mode decaying.

        By Gershgorin's circles the fastest rate is at most twice the flow out of a cell over its
        capacity, and an explicit step is stable below 2 / rate.
        """
        out = self._film / 2.0
        out[:, :-1] += self._across
        out[:, 1:] += self._across
        out[:-1] += self._down
        out[1:] += self._down
        return float(1.0 / np.max(out / self._capacity))

    @property
    def energy_j(self) -> float:
        """Return the heat held above the surroundings' temperature, J."""
        held = float(np.sum(self._capacity * self.rise_k))
        if self.bodies is not None:
            held += float(self.bodies.capacity_j_k @ self.body_rise_k)
        return held

    def advance(
        self, seconds: float, body_power_w: ArrayLike = 0.0, sheet_power_w: ArrayLike = 0.0
    ) -> None:
        """Step over a time with constant powers, W: one a body, and one a cell of the sheet."""
        if seconds <= 0:
            return
        steps = math.ceil(seconds / MAX_STEP_S - 1e-9)
        dt_s = seconds / steps
        substeps = math.ceil(dt_s / (0.8 * self.stable_s))
        for _ in range(steps):
            power_w = np.asarray(sheet_power_w, dtype=np.float64)
            if self.bodies is not None:
                body_w = np.asarray(body_power_w, dtype=np.float64)
                power_w = power_w + self._from_bodies(self.bodies, dt_s, body_w, power_w)
            for _ in range(substeps):
                gain_w = self._flows(power_w)
                self.lost_j += self._loss_w * dt_s / substeps
                gain_w /= self._capacity
                gain_w *= dt_s / substeps
                self.rise_k += gain_w

    def _flows(self, power_w: ArrayLike) -> Floats:
        """Return what each cell gains by power, sheet and film as they are, W (a work array)."""
        rise, gain = self.rise_k, self._work
        np.multiply(rise, self._film, out=gain)
        self._loss_w = float(gain.sum())
        np.subtract(power_w, gain, out=gain)
        np.subtract(rise[:, 1:], rise[:, :-1], out=self._flow_across)
        self._flow_across *= self._across
        gain[:, :-1] += self._flow_across
        gain[:, 1:] -= self._flow_across
        np.subtract(rise[1:], rise[:-1], out=self._flow_down)
        self._flow_down *= self._down
        gain[:-1] += self._flow_down
        gain[1:] -= self._flow_down
        return gain

    def _from_bodies(
        self, bodies: Bodies, dt_s: float, body_w: Floats, sheet_w: ArrayLike
    ) -> Floats:
        """Step the bodies; return what they give each cell during the step, W.

        Backward Euler, in closed form: each body and its cells make a star, and eliminating the
        cells leaves one equation a body. What else a cell gains, from the sheet and from bodies
        that share it, is taken as it was; at rest that is as it is.
        """
        count, size = len(bodies), self.rise_k.size
        cells = self._capacity.reshape(-1)[self._cell]
        link = self._link / (1.0 + self._link * dt_s / cells)
        gained = self._flows(sheet_w).reshape(-1)
        gained = (gained + np.bincount(self._cell, self._given_w, size))[self._cell] - self._given_w
        under = self.rise_k.reshape(-1)[self._cell] + dt_s * gained / cells
        inflow = np.bincount(self._owner, link * under, count)
        links = np.bincount(self._owner, link, count)
        self.body_rise_k = (bodies.capacity_j_k * self.body_rise_k + dt_s * (body_w + inflow)) / (
            bodies.capacity_j_k + dt_s * (links + bodies.film_w_k)
        )
        self.lost_j += dt_s * float(bodies.film_w_k @ self.body_rise_k)
        self._given_w = link * (self.body_rise_k[self._owner] - under)
        given = np.bincount(self._cell, self._given_w, size)
        return np.asarray(given.reshape(self.rise_k.shape), np.float64)

    def settle(self, body_power_w: ArrayLike = 0.0, sheet_power_w: ArrayLike = 0.0) -> None:
        """Go to the steady state under constant powers, W, by one sparse solution."""
        shape, cells = self.rise_k.shape, self.rise_k.size
        number = np.arange(cells).reshape(shape)
        one = np.concatenate([number[:, :-1].ravel(), number[:-1].ravel()])
        other = np.concatenate([number[:, 1:].ravel(), number[1:].ravel()])
        flow = np.concatenate([self._across.ravel(), self._down.ravel()])
        loss = self._film.ravel()
        power = np.broadcast_to(np.asarray(sheet_power_w, dtype=np.float64), shape).ravel()
        if self.bodies is not None:
            one = np.concatenate([one, self._cell])
            other = np.concatenate([other, cells + self._owner])
            flow = np.concatenate([flow, self._link])
            loss = np.concatenate([loss, self.bodies.film_w_k])
            body = np.broadcast_to(np.asarray(body_power_w, float), self.body_rise_k.shape)
            power = np.concatenate([power, body])
        total = len(loss)
        half = sparse.coo_array((-flow, (one, other)), shape=(total, total))
        matrix = half + half.T
        matrix = sparse.diags_array(loss - matrix.sum(axis=1)) + matrix
        rise = splu(sparse.csc_array(matrix)).solve(power)
        self.rise_k[...] = rise[:cells].reshape(shape)
        self.body_rise_k = rise[cells:].copy()
        if self.bodies is not None:
            self._given_w = self._link * (rise[cells + self._owner] - rise[self._cell])


def _between(one: Floats, other: Floats) -> Floats:
    """Return the conductance of a face between cells: their halves in series."""
    return 2.0 * one * other / (one + other)
