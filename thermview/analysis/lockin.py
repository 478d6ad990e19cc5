"""Pulse test: the first harmonic of a pulsed supply, pixel by pixel, in constant memory.

Least squares at the frames' true times, of a sine and a cosine at the supply's rate beside an
offset and a bent drift. With even times and whole periods the sums are those of Breitenstein,
Warta, Schubert, *Lock-in Thermography* (doi:10.1007/978-3-642-02417-7): S0 = (2/N)ΣF sin,
S90 = -(2/N)ΣF cos, amplitude √(S0² + S90²), phase atan2(-S90, S0).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermview.analysis.heat_model import BODY_SEEN_LEAST, CAPACITY, CONTACT, FILM
from thermview.analysis.prepare import filled
from thermview.errors import UsageError

Floats = NDArray[np.float64]

FEWEST_PERIODS = 2.0
MOST_OFFSETS = 16
"""The camera's offset may change so many times (shutter); later changes share the last one."""
_DRIFT = 3  # constant, straight, bent


@dataclass(frozen=True, slots=True, eq=False)
class Harmonic:
    """The answer of every pixel to the pulses.

    Attributes
    ----------
    amplitude_k : ndarray of float32, shape (row, column)
    phase_rad : ndarray of float32, shape (row, column)
        -π to π, against the supply's switching on; negative is later.
    noise_k : ndarray of float32, shape (row, column)
        Root mean square amplitude that noise alone gives.
    periods : float
        How many were seen.
    """

    amplitude_k: NDArray[np.float32]
    phase_rad: NDArray[np.float32]
    noise_k: NDArray[np.float32]
    periods: float


class LockIn:
    """Takes pictures one at a time; keeps a few sums, whatever the length.

    Parameters
    ----------
    period_s : float
        Of the supply.
    on_s : float
        When the supply switches on, any of its times.
    """

    def __init__(self, period_s: float, on_s: float) -> None:
        if not period_s > 0 or not math.isfinite(period_s):
            raise UsageError(f"the period is {period_s:g} s; it must be above 0")
        self._period_s = period_s
        self._on_s = on_s
        self._normal: Floats = np.zeros((0, 0))
        self._sums: Floats | None = None
        self._squares: Floats | None = None
        self._zero: NDArray[np.float32] | None = None
        self._segments: list[int] = []
        self._first_s = self._last_s = on_s
        self.frames = 0

    @property
    def periods(self) -> float:
        """Return how many periods the pictures so far span."""
        return (self._last_s - self._first_s) / self._period_s if self.frames else 0.0

    def take(self, kelvin: NDArray[np.floating], time_s: float, segment: int = 0) -> None:
        """Take one picture, K; `segment` changes where the camera's offset may have changed.

        Pixels without a value are given the picture's median.
        """
        kelvin = filled(np.array(kelvin)[None])[0]
        if self._zero is None:
            self._zero = kelvin.astype(np.float32)
            self._first_s = time_s
            self._segments = [segment]
            self._grow(kelvin.shape)
        elif segment not in self._segments and len(self._segments) < MOST_OFFSETS:
            self._segments.append(segment)
            self._grow(kelvin.shape)
        assert self._sums is not None
        assert self._squares is not None
        row = self._row(time_s, segment)
        apart = (kelvin - self._zero).astype(np.float64)
        self._normal += np.outer(row, row)
        for at in np.flatnonzero(row):
            self._sums[at] += row[at] * apart
        self._squares += apart**2
        self._last_s = time_s
        self.frames += 1

    def _row(self, time_s: float, segment: int) -> Floats:
        turn = 2 * math.pi * (time_s - self._on_s) / self._period_s
        since = (time_s - self._first_s) / self._period_s
        offsets = [0.0] * (len(self._segments) - 1)
        at = self._segments.index(segment) if segment in self._segments else -1
        if at > 0 or (at == -1 and offsets):
            offsets[at - 1 if at > 0 else -1] = 1.0
        return np.array([math.sin(turn), math.cos(turn), 1.0, since, since**2, *offsets])

    def _grow(self, shape: tuple[int, ...]) -> None:
        size = 2 + _DRIFT + len(self._segments) - 1
        normal, sums = np.zeros((size, size)), np.zeros((size, *shape))
        if self._sums is None:
            self._squares = np.zeros(shape)
        else:
            normal[: size - 1, : size - 1] = self._normal
            sums[: size - 1] = self._sums
        self._normal, self._sums = normal, sums

    def result(self) -> Harmonic:
        """Return amplitude, phase and noise so far.

        Raises
        ------
        UsageError
            Fewer than two periods, or too few pictures a period.
        """
        if self._sums is None or self._squares is None or self.periods < FEWEST_PERIODS:
            raise UsageError(
                f"{self.periods:.1f} periods of {self._period_s:g} s were seen; "
                f"{FEWEST_PERIODS:g} or more are needed"
            )
        size = len(self._normal)
        if self.frames < 2 * size or self.frames / self.periods < 3:
            raise UsageError(
                f"{self.frames} pictures in {self.periods:.1f} periods of {self._period_s:g} s; "
                "three or more a period are needed"
            )
        inverse = np.linalg.inv(self._normal)
        flat = self._sums.reshape(size, -1)
        found = inverse @ flat
        left = self._squares.reshape(-1) - np.einsum("sp,sp->p", found, flat)
        variance = np.maximum(left, 0.0) / (self.frames - size)
        shape = self._squares.shape
        sine, cosine = found[0].reshape(shape), found[1].reshape(shape)
        noise = np.sqrt(variance * (inverse[0, 0] + inverse[1, 1])).reshape(shape)
        return Harmonic(
            np.hypot(sine, cosine).astype(np.float32),
            np.arctan2(cosine, sine).astype(np.float32),
            noise.astype(np.float32),
            self.periods,
        )


def amplitude_noise_k(netd_k: float, rate_hz: float, seconds: float) -> float:
    """Return the root mean square amplitude that noise alone gives after some time, 2·NETD/√N."""
    return 2.0 * netd_k / math.sqrt(max(rate_hz * seconds, 1.0))


def amplitude_k_per_w(
    period_s: float,
    area_m2: float,
    *,
    kappa: float = 0.006,
    contact: float = CONTACT[1],
    body_j_per_k: float = 0.002,
    seen: float = BODY_SEEN_LEAST,
) -> float:
    """Return a part's amplitude for pulses of 1 W, K: mean over its body, square on and off.

    The pulses' fundamental is 2/π of their height (Fourier's series of a square wave). The body
    passes its power on to the sheet through `contact`, W/m²K, and shows the share `seen` of what it
    is warmer than that; unless given, both are the least that the model of heat allows parts.
    `kappa` is the board's, W/K.
    """
    turn = 2 * math.pi / period_s
    side = math.sqrt(area_m2)
    wave = np.linspace(0.02, 8.0, 200) * 2 * np.pi / side
    kx, ky = np.meshgrid(wave, wave)
    shape = (np.sinc(kx * side / 2 / np.pi) * np.sinc(ky * side / 2 / np.pi)) ** 2
    cell = (wave[1] - wave[0]) ** 2 / np.pi**2
    sheet = np.sum(shape / (kappa * (kx**2 + ky**2) + FILM + 1j * turn * CAPACITY)) * cell
    excess = 1.0 / (contact * area_m2)
    # p = q + C dT/dt with T = (sheet + excess)·q
    flow = 1.0 / (1 + 1j * turn * body_j_per_k * (sheet + excess))
    return float(abs((sheet + seen * excess) * flow)) * 2 / math.pi


def smallest_power_w(noise_k: float, k_per_w: float, pixels: float = 4.0) -> float:
    """Return the power of pulses whose amplitude is three times the noise of a part's mean."""
    return 3.0 * noise_k / math.sqrt(max(pixels, 1.0)) / k_per_w


def seconds_until(power_w: float, now_s: float, smallest_now_w: float) -> float:
    """Return how much longer it takes until a power shows: the limit falls as 1/√time."""
    return max(0.0, now_s * ((smallest_now_w / power_w) ** 2 - 1.0))
