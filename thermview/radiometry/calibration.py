"""The camera's own error, found from contact readings and taken off.

One reading gives an offset, two a straight line, three or more the interpolation equation of Sakuma
and Hattori, S = C/[exp(c2/(A·T + B)) − 1] (CCT-WG5 2008), with the band radiance of what the camera
says as its signal S. What the fit leaves over, and what its parameters are worth, is kept with it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import Enum
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from thermview.errors import UsageError
from thermview.radiometry.planck import (
    C2_M_K,
    DEFAULT_BAND,
    HIGHEST_K,
    LOWEST_K,
    Floats,
    band_radiance,
)

C2_UM_K: Final = C2_M_K * 1e6

Limits = tuple[float, float]


@dataclass(frozen=True, slots=True)
class SakumaHattori:
    """S = C/[exp(c2/(A·T + B)) − 1]: A in µm, B in µm K, C in the signal's unit."""

    a_um: float
    b_um_k: float
    c: float

    @classmethod
    def theory(cls, band_um: Limits = DEFAULT_BAND) -> SakumaHattori:
        """Return the parameters that theory gives for a flat band.

        A = λ0·(1 − 6σ²/λ0²), B = c2·σ²/(2·λ0²) with mean and standard deviation of the band's
        wavelengths (from memory); C fits the band's radiance at 350 K.
        """
        low, high = band_um
        mean, variance = (low + high) / 2.0, (high - low) ** 2 / 12.0
        shape = cls(
            mean * (1.0 - 6.0 * variance / mean**2), C2_UM_K * variance / (2.0 * mean**2), 1.0
        )
        c = float(band_radiance(band_um).radiance(350.0) / shape.signal(350.0))
        return cls(shape.a_um, shape.b_um_k, c)

    @classmethod
    def fit(cls, temperature_k: Floats, signal: Floats, start: SakumaHattori) -> SakumaHattori:
        """Return the parameters of least squares in temperature; three points are met exactly."""

        from scipy.optimize import least_squares  # late: the window starts without it

        def residual(p: Floats) -> Floats:
            return _perturbed(start, p).temperature(signal) - temperature_k

        solved = least_squares(
            residual, np.zeros(3), x_scale="jac", xtol=1e-14, ftol=1e-14, gtol=1e-14
        )
        return _perturbed(start, solved.x)

    def signal(self, temperature_k: ArrayLike) -> Floats:
        """Return the signal of a temperature, K."""
        kelvin = np.asarray(temperature_k, dtype=np.float64)
        decay = np.exp(-C2_UM_K / (self.a_um * kelvin + self.b_um_k))
        result: Floats = self.c * decay / (1.0 - decay)
        return result

    def temperature(self, signal: ArrayLike) -> Floats:
        """Return the temperature, K, of a signal; NaN where it is not above 0."""
        given = np.asarray(signal, dtype=np.float64)
        above = np.where(given > 0.0, given, np.nan)
        with np.errstate(over="ignore"):  # next to no signal: c/S is infinite, as cold as can be
            result: Floats = (C2_UM_K / np.log1p(self.c / above) - self.b_um_k) / self.a_um
        return result


class CalibrationKind(Enum):
    """How a camera's error is described."""

    OFFSET = "offset"
    LINEAR = "linear"
    SAKUMA_HATTORI = "sakuma-hattori"

    @property
    def parameters(self) -> int:
        """Return how many contact readings it takes at least."""
        return {"offset": 1, "linear": 2, "sakuma-hattori": 3}[self.value]


@dataclass(frozen=True, slots=True)
class ContactPoint:
    """One comparison, K: what the camera saw, what it ought to have seen, and how sure that is.

    `expected_k` is the apparent temperature of the surface at its contact reading: put that
    through `apparent_temperature` with the surface's emissivity first.
    """

    seen_k: float
    expected_k: float
    u_k: float = 0.5


@dataclass(frozen=True, slots=True)
class Calibration:
    """A fitted correction of apparent temperatures; hashable, so that tables are kept by it.

    Attributes
    ----------
    kind : CalibrationKind
        Form of the correction.
    parameters : tuple of float
        OFFSET: K. LINEAR: K at `centre_k`, and K per K. SAKUMA_HATTORI: relative changes of A, B
        and ln C from theory.
    covariance : tuple of tuple of float
        Of the parameters.
    points : tuple of ContactPoint
        What it was fitted to.
    band_um : (float, float)
        Band whose radiance is the signal.
    """

    kind: CalibrationKind
    parameters: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    points: tuple[ContactPoint, ...]
    band_um: Limits = DEFAULT_BAND

    def apply(self, seen_k: ArrayLike) -> Floats:
        """Return corrected apparent temperatures, K."""
        return _model(self.kind, self.points, self.band_um)(
            np.asarray(self.parameters), np.asarray(seen_k, dtype=np.float64)
        )

    def u_k(self, seen_k: ArrayLike) -> Floats:
        """Return the correction's own standard uncertainty, K; it grows outside the points."""
        seen = np.asarray(seen_k, dtype=np.float64)
        slope = _slopes(_model(self.kind, self.points, self.band_um), self.parameters, seen)
        variance = np.einsum("i...,ij,j...->...", slope, np.asarray(self.covariance), slope)
        result: Floats = np.sqrt(np.maximum(variance, 0.0))
        return result

    @property
    def residuals_k(self) -> tuple[float, ...]:
        """Return corrected minus expected at each point, K."""
        seen = np.array([p.seen_k for p in self.points])
        expected = np.array([p.expected_k for p in self.points])
        return tuple(float(x) for x in self.apply(seen) - expected)

    @property
    def freedom(self) -> float:
        """Return the degrees of freedom of its uncertainty.

        Infinite while the contact readings' own uncertainties explain what the fit leaves; else
        their scatter tells how good it is, and few readings tell that badly.
        """
        over = len(self.points) - self.kind.parameters
        excess = sum((r / p.u_k) ** 2 for r, p in zip(self.residuals_k, self.points, strict=True))
        return float(over) if over > 0 and excess > over else math.inf

    @property
    def range_k(self) -> Limits:
        """Return the lowest and highest temperature it was fitted to, K."""
        seen = [p.seen_k for p in self.points]
        return min(seen), max(seen)


def fit_calibration(
    points: Sequence[ContactPoint],
    *,
    kind: CalibrationKind | None = None,
    band_um: Limits = DEFAULT_BAND,
) -> Calibration:
    """Fit a correction to contact readings.

    Parameters
    ----------
    points : sequence of ContactPoint
        One or more, at differing temperatures.
    kind : CalibrationKind or None
        None: by the number of points.
    band_um : (float, float)
        The camera's band.

    Returns
    -------
    Calibration
        Its covariance comes from the points' own uncertainties, widened where the residuals are
        larger than those explain.

    Raises
    ------
    UsageError
        No points, too few for `kind`, not numbers, or too close together to fit.
    """
    chosen = kind or list(CalibrationKind)[min(max(len(points), 1), 3) - 1]
    from scipy.optimize import least_squares  # late: the window starts without it

    _check(points, chosen)
    seen = np.array([p.seen_k for p in points])
    expected = np.array([p.expected_k for p in points])
    u_k = np.array([p.u_k for p in points])
    model = _model(chosen, tuple(points), band_um)
    solved = least_squares(
        lambda p: (model(p, seen) - expected) / u_k,
        np.zeros(chosen.parameters),
        x_scale="jac",
        xtol=1e-14,
        ftol=1e-14,
        gtol=1e-14,
    )
    slope = _slopes(model, tuple(solved.x), seen) / u_k
    covariance = np.linalg.pinv(slope @ slope.T)
    freedom = len(points) - chosen.parameters
    if freedom > 0:
        covariance *= max(1.0, 2.0 * float(solved.cost) / freedom)
    return Calibration(
        chosen,
        tuple(float(x) for x in solved.x),
        tuple(tuple(float(x) for x in row) for row in covariance),
        tuple(points),
        band_um,
    )


def _check(points: Sequence[ContactPoint], kind: CalibrationKind) -> None:
    if len(points) < kind.parameters:
        raise UsageError(
            f"a {kind.value} calibration takes {kind.parameters} contact readings or more, "
            f"not {len(points)}"
        )
    for point in points:
        temperatures = (point.seen_k, point.expected_k)
        if not (all(LOWEST_K < t < HIGHEST_K for t in temperatures) and point.u_k > 0.0):
            raise UsageError(
                f"the contact reading {point.expected_k} ± {point.u_k} K at {point.seen_k} K "
                "cannot be used; give temperatures above 1 K and an uncertainty above 0"
            )
    distinct = np.unique(np.round([p.seen_k for p in points], 0))
    if len(distinct) < kind.parameters:
        raise UsageError(
            f"the contact readings lie at {len(distinct)} differing temperatures; a {kind.value} "
            f"calibration takes {kind.parameters}, at least 1 K apart"
        )


def _model(
    kind: CalibrationKind, points: tuple[ContactPoint, ...], band_um: Limits
) -> Callable[[Floats, Floats], Floats]:
    """Return the function of (parameters, seen K) to corrected K."""
    if kind is CalibrationKind.OFFSET:
        return lambda p, seen: seen + p[0]
    if kind is CalibrationKind.LINEAR:
        centre_k = math.fsum(point.seen_k for point in points) / len(points)
        return lambda p, seen: seen + p[0] + p[1] * (seen - centre_k)
    theory = SakumaHattori.theory(band_um)
    band = band_radiance(band_um)
    return lambda p, seen: _perturbed(theory, p).temperature(band.radiance(seen))


def _perturbed(start: SakumaHattori, p: Floats) -> SakumaHattori:
    return SakumaHattori(
        start.a_um * (1.0 + p[0]), start.b_um_k * (1.0 + p[1]), start.c * math.exp(p[2])
    )


def _slopes(
    model: Callable[[Floats, Floats], Floats], parameters: tuple[float, ...], seen: Floats
) -> Floats:
    """Return d(corrected)/d(parameter), shape (parameters, …), by central differences."""
    rows = []
    for place in range(len(parameters)):
        step = np.zeros(len(parameters))
        step[place] = 1e-5
        centre = np.asarray(parameters)
        rows.append((model(centre + step, seen) - model(centre - step, seen)) / 2e-5)
    return np.array(rows)
