"""How a sheet and a body on it answer a power's course over time, and the few modes that span it.

Each spatial frequency of a thin sheet follows the power as one pole (Carslaw & Jaeger's series,
C dT/dt = q - (κk² + h) T); a body on the sheet is a pole more. All answers to one course lie
close to a handful of orthonormal time courses: pictures are projected on these once, and all
further work is on the few pictures of coefficients.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

RATES_HZ = np.geomspace(0.004, 60.0, 40)
"""Rates of the poles that are tabulated, 1/s."""
TAUS_S = (0.05, 0.2, 0.6, 1.5, 4.0)
"""Lags of bodies that are tried: a chip resistor's to a relay's."""
MODES = 6
KEPT = 3e-3  # modes below this share of the first carry nothing
COOLING_PER_S = 0.35  # a spot that a finger warmed cools about so


def one_pole(power: Floats, times_s: Floats, rates_hz: Floats | float) -> Floats:
    """Return ∫ p(t') exp(-rate (t - t')) dt' at each time, p held at the mean of each interval.

    Parameters
    ----------
    power : ndarray, shape (time,) or (time, course)
    times_s : ndarray, shape (time,)
    rates_hz : ndarray, shape (rate,) or float
        1/s; with several courses, one course per rate.

    Returns
    -------
    ndarray, shape (time, rate)
    """
    rates = np.atleast_1d(np.asarray(rates_hz, dtype=np.float64))
    steps_s = np.diff(times_s, prepend=times_s[0])
    course = power if power.ndim == 2 else power[:, None]
    middle = np.vstack([course[:1], 0.5 * (course[1:] + course[:-1])])
    x = steps_s[:, None] * rates
    keep = np.exp(-x)
    gain = -np.expm1(-x) / rates
    out = np.zeros((len(times_s), len(rates)))
    now = np.zeros(len(rates))
    for k in range(1, len(times_s)):
        now = now * keep[k] + middle[k] * gain[k]
        out[k] = now
    return out


def offsets(segment: NDArray[np.int64], *more: Floats) -> Floats:
    """Return orthonormal courses of the camera's offsets, one a segment, and more.

    Parameters
    ----------
    segment : ndarray, shape (time,)
    more : ndarrays, shape (time,) or (time, course)
    """
    columns = [(segment == s).astype(np.float64) for s in np.unique(segment)]
    for course in more:
        columns += list(course.T if course.ndim == 2 else course[None])
    return orthonormal(np.stack(columns, axis=1))


def nuisances(times_s: Floats, segment: NDArray[np.int64], *more: Floats) -> Floats:
    """Return orthonormal courses that are no evidence: offsets, a straight drift, cooling, more."""
    since_s = times_s - times_s[0]
    return offsets(segment, since_s - since_s.mean(), np.exp(-COOLING_PER_S * since_s), *more)


def orthonormal(courses: Floats) -> Floats:
    """Return orthonormal courses that span the same, shape (time, course)."""
    table = courses / np.maximum(np.linalg.norm(courses, axis=0), 1e-30)
    left, size, _ = np.linalg.svd(table, full_matrices=False)
    return np.asarray(left[:, size > 1e-6 * size[0]])


def slow_courses(times_s: Floats, period_s: float) -> Floats:
    """Return cosines slower than a third of a pulsed supply's rate, shape (time, course).

    What a pulsed part shows at the supply's own rate is enough; drift is all in these.
    """
    length_s = float(times_s[-1] - times_s[0])
    count = int(2.0 * length_s / (3.0 * period_s))
    phase = np.pi * (times_s - times_s[0]) / max(length_s, 1e-9)
    return np.asarray(np.cos(phase[:, None] * np.arange(1, count + 1)))


def project(courses: Floats, pictures: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the coefficients of orthonormal courses, shape (course, …).

    Parameters
    ----------
    courses : ndarray, shape (time, course)
    pictures : ndarray, shape (time, …)
    """
    found = courses.T.astype(np.float32) @ pictures.reshape(len(pictures), -1)
    return np.asarray(found.reshape(courses.shape[1], *pictures.shape[1:]))


def energy_outside(pictures: NDArray[np.float32], courses: Floats) -> NDArray[np.float32]:
    """Return each pixel's energy outside orthonormal courses, K², shape (row, column).

    Parameters
    ----------
    pictures : ndarray, shape (time, row, column)
    courses : ndarray, shape (time, course)
    """
    flat = pictures.reshape(len(pictures), -1)
    inside = courses.T.astype(np.float32) @ flat
    energy = np.einsum("tp,tp->p", flat, flat) - np.einsum("cp,cp->p", inside, inside)
    return np.asarray(energy.reshape(pictures.shape[1:]))


@dataclass(frozen=True, slots=True, eq=False)
class Drive:
    """A power's course and all answers to it at the frames' times.

    Attributes
    ----------
    times_s : ndarray, shape (time,)
    power : ndarray, shape (time,)
        1 at the level that powers are stated for.
    sheet : ndarray, shape (lag, time, rate)
        What a spatial frequency of that decay rate does, K·(J/m²K) per W/m², per body's lag.
    body : ndarray, shape (lag, time)
        The flow from the body into the board, in units of the power.
    """

    times_s: Floats
    power: Floats
    sheet: Floats
    body: Floats

    @classmethod
    def of(cls, power: Floats, times_s: Floats) -> Drive:
        """Compute the answers to a course."""
        lags = np.array(TAUS_S)
        body = one_pole(power, times_s, 1.0 / lags) / lags
        many = np.repeat(body, len(RATES_HZ), axis=1)
        sheet = one_pole(many, times_s, np.tile(RATES_HZ, len(lags)))
        shaped = sheet.reshape(len(times_s), len(lags), len(RATES_HZ)).transpose(1, 0, 2)
        return cls(times_s, power, shaped, body.T)


@dataclass(frozen=True, slots=True, eq=False)
class Modes:
    """Orthonormal time courses: what is no evidence, and what spans the answers to the power.

    Attributes
    ----------
    drive : Drive
    idle : ndarray, shape (time, nuisance)
    active : ndarray, shape (time, mode)
        Orthogonal to `idle`.
    sheet : ndarray, shape (lag, mode, rate)
    body : ndarray, shape (lag, mode)
        The drive's answers in the modes.
    """

    drive: Drive
    idle: Floats
    active: Floats
    sheet: Floats
    body: Floats

    @classmethod
    def of(cls, drive: Drive, idle: Floats) -> Modes:
        """Find the modes of a drive beside given nuisances."""
        answers = np.concatenate([drive.sheet[0], drive.sheet[2], drive.body.T], axis=1)
        answers = answers / np.maximum(np.linalg.norm(answers, axis=0), 1e-12)
        left = answers - idle @ (idle.T @ answers)
        courses, size, _ = np.linalg.svd(left, full_matrices=False)
        active = courses[:, size > KEPT * size[0]][:, :MODES]
        return cls(
            drive,
            idle,
            active,
            np.einsum("tm,ltr->lmr", active, drive.sheet),
            drive.body @ active,
        )

    def turned(self, turn: Floats) -> Modes:
        """Return the same modes in other orthonormal axes, the columns of `turn`."""
        return Modes(
            self.drive,
            self.idle,
            self.active @ turn,
            np.einsum("lmr,mk->lkr", self.sheet, turn),
            self.body @ turn,
        )

    @property
    def count(self) -> int:
        """Return how many active modes there are."""
        return int(self.active.shape[1])

    @property
    def freedom(self) -> int:
        """Return how many degrees of freedom neither nuisances nor modes take."""
        return int(len(self.idle) - self.idle.shape[1] - self.count)
