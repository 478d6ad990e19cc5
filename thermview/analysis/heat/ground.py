"""What all judgements of one recording stand on: its modes, noise, and pictures apart by width."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from thermview.analysis.background import calm_axes, measure_whitener
from thermview.analysis.heat.afar import Afar
from thermview.analysis.heat.cooling import Cooling
from thermview.analysis.heat.quick import QuickMatch, Shares
from thermview.analysis.heat.sources import Field, flat
from thermview.analysis.heat_model import HIGHPASS_PX
from thermview.analysis.prepare import Block, Take, lowpass
from thermview.analysis.responses import (
    Drive,
    Modes,
    energy_outside,
    nuisances,
    project,
    slow_courses,
)
from thermview.analysis.wanted import in_parallel
from thermview.analysis.waveform import Course

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Split:
    """Pictures apart by width, and the courses that are no evidence.

    Attributes
    ----------
    narrow, wide : ndarray of float32, shape (frame, row, column)
        Their sum is the take's rise.
    idle : ndarray, shape (frame, course)
        Orthonormal.
    energy : ndarray of float32, shape (row, column)
        Of the narrow pictures outside those courses, K².
    cooling : Cooling
        What cools from the start.
    afar : Afar
        What the picture far from a place does.
    """

    narrow: Block
    wide: Block
    idle: Floats
    energy: NDArray[np.float32]
    cooling: Cooling
    afar: Afar

    def without(self, idle: Floats) -> Split:
        """Return the same with other courses, orthonormal, left out."""
        energy = energy_outside(self.narrow, idle)
        return replace(self, idle=idle, energy=energy, afar=Afar(self.narrow, idle))


def split(take: Take, period_s: float | None = None) -> Split:
    """Take pictures apart; `period_s` of a pulsed supply makes all slow courses idle."""
    wide = lowpass(take.rise_k, HIGHPASS_PX)
    more = [] if period_s is None else [slow_courses(take.times_s, period_s)]
    idle = nuisances(take.times_s, take.segment, take.sway, *more)
    narrow = take.rise_k - wide
    cooling = Cooling(narrow, take.times_s, idle)
    return Split(narrow, wide, idle, energy_outside(narrow, idle), cooling, Afar(narrow, idle))


@dataclass(frozen=True, slots=True, eq=False)
class Ground:
    """The coefficients of the modes, and the noise in them.

    Attributes
    ----------
    modes : Modes
    coefficients : ndarray of float32, shape (mode, row, column)
        Whitened; nothing taken off.
    plain : ndarray of float32, shape (mode, row, column)
        High-passed like `Split.narrow` instead.
    left_over : ndarray of float32, shape (row, column)
        Energy outside the modes, K².
    noise_var : float
        Of a pixel in one coefficient, K².
    field : Field
        What sources are taken off from.
    """

    modes: Modes
    coefficients: NDArray[np.float32]
    plain: NDArray[np.float32]
    left_over: NDArray[np.float32]
    noise_var: float
    field: Field


def prepare_ground(take: Take, parted: Split, course: Course, mm_per_px: float) -> Ground:
    """Project pictures on the answers to a power's course, and measure the noise."""
    (ground,) = prepare_grounds(take, parted, [course], mm_per_px)
    return ground()


def prepare_grounds(
    take: Take, parted: Split, courses: Sequence[Course], mm_per_px: float
) -> list[Callable[[], Ground]]:
    """Do so for several courses: the pictures are gone through once; each is then finished."""
    several = [Modes.of(Drive.of(course.power, take.times_s), parted.idle) for course in courses]
    active = np.concatenate([modes.active for modes in several], axis=1)
    parts = np.cumsum([modes.count for modes in several])[:-1]
    inside, raw = (np.split(project(active, of), parts) for of in (parted.narrow, take.rise_k))
    return [
        partial(_finish, parted, modes, narrow, wide, mm_per_px)
        for modes, narrow, wide in zip(several, inside, raw, strict=True)
    ]


def _finish(
    parted: Split,
    modes: Modes,
    inside: NDArray[np.float32],
    raw: NDArray[np.float32],
    mm_per_px: float,
) -> Ground:
    left_over = np.maximum(parted.energy - np.einsum("mij,mij->ij", inside, inside), 0.0)
    noise_var = float(np.median(left_over)) / modes.freedom
    plain = flat(raw)
    axes = calm_axes(plain)
    modes = modes.turned(axes)
    raw, plain = (np.einsum("mij,mk->kij", one, np.float32(axes)) for one in (raw, plain))
    whitener = measure_whitener(raw, noise_var)
    coefficients = whitener.apply(raw)
    variance = np.maximum(left_over / modes.freedom, noise_var).astype(np.float32)
    field = Field(coefficients, variance, modes, mm_per_px=mm_per_px, whitener=whitener)
    return Ground(modes, coefficients, plain, left_over, noise_var, field)


def highest_scores(
    take: Take,
    parted: Split,
    courses: Sequence[Course],
    shares: Shares,
    mm_per_px: float,
    *,
    trust: Floats | float = 1.0,
) -> list[float]:
    """Return for each of several courses the highest score, times its trust, that a part has."""

    def highest(ground: Callable[[], Ground]) -> float:
        field = ground().field
        scores = QuickMatch(shares, field.filters).scores(field.left, field.variance)
        return float((trust * scores).max())

    return in_parallel(highest, prepare_grounds(take, parted, courses, mm_per_px))
