"""Planck's law over a camera's band, forwards and backwards.

One object serves a plain band and a measured response curve: Gauss-Legendre nodes over the band,
weighted with the response. From them ln L is tabulated over ln T once per band, and both
directions are cubic splines through that table, good to 1e-10 of the radiance.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from thermview.errors import InputError, UsageError

if TYPE_CHECKING:
    from scipy.interpolate import CubicSpline

Floats = NDArray[np.float64]

_H_J_S, _C_M_PER_S, _K_J_PER_K = 6.62607015e-34, 299792458.0, 1.380649e-23
"""Planck's constant, the speed of light, Boltzmann's constant: exact, for they define the SI."""
C1L_W_M2_SR = 2.0 * _H_J_S * _C_M_PER_S**2
"""First radiation constant for radiance, W m²/sr (CODATA 2018)."""
C2_M_K = _H_J_S * _C_M_PER_S / _K_J_PER_K
"""Second radiation constant, m K (CODATA 2018)."""

LOWEST_K = 1.0
HIGHEST_K = 10_000.0
"""Temperatures outside these have no radiance here (NaN)."""

_KNOTS = 8192
_NODES_PER_PANEL = 24
_MOST_AT_ONCE = 100_000
_PANEL_RATIO = 1.3  # panels no longer than this ratio of wavelengths, so that quadrature is exact
_METRES_PER_UM = 1e-6


@dataclass(frozen=True, slots=True)
class ResponseCurve:
    """A camera's relative spectral response: straight lines between points, zero outside.

    Attributes
    ----------
    wavelength_um : tuple of float
        Increasing, µm.
    response : tuple of float
        Not negative, any common factor; only its shape counts.
    """

    wavelength_um: tuple[float, ...]
    response: tuple[float, ...]

    def __post_init__(self) -> None:
        wavelengths = np.asarray(self.wavelength_um)
        responses = np.asarray(self.response)
        if len(wavelengths) < 2 or wavelengths.shape != responses.shape:
            raise InputError(
                f"the response curve has {len(wavelengths)} wavelengths and {len(responses)} "
                "responses; it needs two or more of each, as many of one as of the other"
            )
        if not (np.isfinite(wavelengths).all() and np.isfinite(responses).all()):
            raise InputError("the response curve holds something that is not a number")
        if wavelengths[0] < 0.1 or wavelengths[-1] > 1000 or (np.diff(wavelengths) <= 0).any():
            raise InputError(
                "the response curve's wavelengths must increase and lie within 0.1 and 1000 µm"
            )
        if (responses < 0).any() or responses.max() <= 0:
            raise InputError("the response curve must not be negative, and somewhere above zero")

    @classmethod
    def load(cls, path: Path) -> ResponseCurve:
        """Read a CSV of wavelength (µm) and response; lines without two numbers are skipped.

        Raises
        ------
        InputError
            The file cannot be read or holds no curve.
        """
        try:
            with path.open(newline="", encoding="utf-8-sig") as stream:
                rows = list(csv.reader(stream))
        except (OSError, UnicodeDecodeError, csv.Error) as error:
            raise InputError(f"the response curve {path} cannot be read: {error}") from error
        points = [point for row in rows if (point := _two_numbers(row)) is not None]
        if len(points) < 2:
            raise InputError(
                f"the response curve {path} holds {len(points)} rows of two numbers; "
                "give a wavelength in µm and a response in each row, two rows or more"
            )
        points.sort()
        return cls(tuple(p[0] for p in points), tuple(p[1] for p in points))


Band = tuple[float, float] | ResponseCurve
"""Limits in µm of a flat response, or the response itself."""

DEFAULT_BAND: tuple[float, float] = (8.0, 14.0)


def spectral_radiance(wavelength_um: ArrayLike, temperature_k: ArrayLike) -> Floats:
    """Return Planck's spectral radiance of a black body.

    Parameters
    ----------
    wavelength_um, temperature_k : array_like
        Broadcast against each other.

    Returns
    -------
    ndarray
        W/(m² sr µm); NaN where the temperature lies outside `LOWEST_K` … `HIGHEST_K`.
    """
    wavelength_m = np.asarray(wavelength_um, dtype=np.float64) * _METRES_PER_UM
    kelvin = _within_range(temperature_k)
    decay = np.exp(-C2_M_K / (wavelength_m * kelvin))
    result: Floats = C1L_W_M2_SR / wavelength_m**5 * decay / (1.0 - decay) * _METRES_PER_UM
    return result


@dataclass(frozen=True, slots=True, eq=False)
class BandRadiance:
    """Radiance of a black body within one band, and its inverse; made by `band_radiance`."""

    _forward: CubicSpline
    _backward: CubicSpline
    _slope: CubicSpline
    _ln_low: float
    _ln_high: float

    def radiance(self, temperature_k: ArrayLike) -> Floats:
        """Return the band radiance, W/(m² sr), in the shape given; NaN out of range."""
        kelvin = _within_range(temperature_k)
        result: Floats = np.exp(self._forward(np.log(kelvin)))
        return result

    def slope(self, temperature_k: ArrayLike) -> Floats:
        """Return dL/dT, W/(m² sr K); NaN out of range."""
        kelvin = _within_range(temperature_k)
        ln_kelvin = np.log(kelvin)
        result: Floats = np.exp(self._forward(ln_kelvin)) * self._slope(ln_kelvin) / kelvin
        return result

    def temperature(self, radiance: ArrayLike) -> Floats:
        """Return the temperature, K, of a black body of this band radiance, W/(m² sr).

        NaN where no temperature within `LOWEST_K` … `HIGHEST_K` has that radiance.
        """
        given = np.asarray(radiance, dtype=np.float64)
        ln_radiance = np.log(np.where(given > 0.0, given, np.nan))
        inside = (ln_radiance >= self._ln_low) & (ln_radiance <= self._ln_high)
        result: Floats = np.exp(self._backward(np.where(inside, ln_radiance, np.nan)))
        return result


@lru_cache(maxsize=16)
def band_radiance(band: Band = DEFAULT_BAND) -> BandRadiance:
    """Return the tables of one band; made once, about 20 ms.

    Raises
    ------
    UsageError
        The limits are not two increasing wavelengths within 0.1 and 1000 µm.
    """
    from scipy.interpolate import CubicSpline  # late: the window starts without it

    wavelength_um, weight = _quadrature(band)
    ln_kelvin = np.linspace(np.log(LOWEST_K), np.log(HIGHEST_K), _KNOTS)
    pieces = np.array_split(ln_kelvin, -(-len(ln_kelvin) * len(wavelength_um) // _MOST_AT_ONCE))
    ln_radiance = np.concatenate([_ln_radiance(wavelength_um, weight, x) for x in pieces])
    forward = CubicSpline(ln_kelvin, ln_radiance)
    return BandRadiance(
        forward,
        CubicSpline(ln_radiance, ln_kelvin),
        forward.derivative(),
        float(ln_radiance[0]),
        float(ln_radiance[-1]),
    )


def _ln_radiance(wavelength_um: Floats, weight: Floats, ln_kelvin: Floats) -> Floats:
    # the largest exponent is taken out first, so that 1 K does not underflow
    x = C2_M_K / (wavelength_um * _METRES_PER_UM * np.exp(ln_kelvin)[:, None])
    least = x.min(axis=1)
    spectral = C1L_W_M2_SR / (wavelength_um * _METRES_PER_UM) ** 5 * _METRES_PER_UM
    total = (weight * spectral * np.exp(least[:, None] - x) / -np.expm1(-x)).sum(axis=1)
    return np.asarray(np.log(total) - least)


def _quadrature(band: Band) -> tuple[Floats, Floats]:
    """Return nodes (µm) and weights (µm times response) over a band."""
    if isinstance(band, ResponseCurve):
        corners = np.asarray(band.wavelength_um)
    else:
        low, high = band
        if not 0.1 <= low < high <= 1000.0:
            raise UsageError(
                f"the band is {low} to {high} µm; give two increasing limits within 0.1 and 1000 µm"
            )
        corners = np.array([low, high])
    edges = np.unique(np.concatenate([_panel_edges(a, b) for a, b in pairwise(corners)]))
    node, weight = np.polynomial.legendre.leggauss(_NODES_PER_PANEL)
    centre, half = (edges[1:] + edges[:-1]) / 2.0, np.diff(edges) / 2.0
    nodes = (centre[:, None] + half[:, None] * node).ravel()
    weights = (half[:, None] * weight).ravel()
    if isinstance(band, ResponseCurve):
        weights = weights * np.interp(nodes, band.wavelength_um, band.response)
        nodes, weights = nodes[weights > 0], weights[weights > 0]
    return nodes, weights


def _panel_edges(low: float, high: float) -> Floats:
    count = max(1, int(np.ceil(np.log(high / low) / np.log(_PANEL_RATIO))))
    return np.geomspace(low, high, count + 1)


def _within_range(temperature_k: ArrayLike) -> Floats:
    kelvin = np.asarray(temperature_k, dtype=np.float64)
    return np.where((kelvin >= LOWEST_K) & (kelvin <= HIGHEST_K), kelvin, np.nan)


def _two_numbers(row: list[str]) -> tuple[float, float] | None:
    try:
        return float(row[0]), float(row[1])
    except (ValueError, IndexError):
        return None
