"""Parts of few pixels read low: the camera's spread, what a part keeps of its rise, the repair.

The camera is taken as a Gaussian spread (lens and focus) followed by the pixel's own square. What a
rectangle of w × h pixels keeps at its best pixel is then a product of one factor for each side:
the mean over a pixel of Φ((x + w/2)/σ) − Φ((x − w/2)/σ). Where the part lies between pixels is
not known, so the factor is averaged over every position and its scatter is part of its uncertainty.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermview.errors import UsageError
from thermview.radiometry.coverage import COVERAGE_FACTOR, effective_freedom
from thermview.radiometry.planck import Floats
from thermview.radiometry.uncertainty import LIMIT_K, Reading

TOO_SMALL = 0.25
"""Relative uncertainty of the kept share beyond which a part is too small to correct."""
SMALLEST_SHARE = 0.15
"""A part that keeps less than this is too small, however well the spread is known."""

_POSITIONS: Floats = np.linspace(-0.5, 0.5, 11)
_SMALLEST_SIGMA_PX = 1e-3


@dataclass(frozen=True, slots=True)
class Spread:
    """The camera's Gaussian spread without the pixel's square, px, and its standard uncertainty."""

    sigma_px: float
    u_px: float

    def __post_init__(self) -> None:
        if not (self.sigma_px > 0.0 and self.u_px >= 0.0):
            raise UsageError(
                f"the spread is {self.sigma_px} ± {self.u_px} px; it must be above 0, "
                "its uncertainty 0 or more"
            )


@dataclass(frozen=True, slots=True)
class Recovery:
    """What share of its rise a part shows, and the standard uncertainty of that share."""

    share: float
    u: float

    @property
    def too_small(self) -> bool:
        """Tell whether size rules: the part reads low and no correction would be honest."""
        return self.share < SMALLEST_SHARE or self.u > TOO_SMALL * self.share


def recovery(
    width_px: float, height_px: float, spread: Spread, *, u_size: float = 0.05, mean: bool = False
) -> Recovery:
    """Return the share of its rise that a rectangle of this size shows.

    Parameters
    ----------
    width_px, height_px : float
        The part's body in pixels of the picture.
    spread : Spread
        Of the camera, measured.
    u_size : float
        Relative standard uncertainty of each side.
    mean : bool
        Of the mean over the part's pixels instead of its best pixel.
    """
    if not (width_px > 0.0 and height_px > 0.0):
        raise UsageError(f"the part is {width_px} × {height_px} px; both must be above 0")
    sides = np.array([width_px, height_px])
    means, scatters = zip(*(_side(w, spread.sigma_px, mean=mean) for w in sides), strict=True)
    share = math.prod(means)
    variance = (share * math.hypot(*(s / m for s, m in zip(scatters, means, strict=True)))) ** 2
    for place, side in enumerate(sides):
        other = means[1 - place]
        step = 0.5 * u_size * side
        up, down = (_side(side + d, spread.sigma_px, mean=mean)[0] for d in (step, -step))
        variance += ((up - down) * other) ** 2
    step = min(0.5 * spread.u_px, 0.5 * spread.sigma_px)
    up, down = (
        math.prod(_side(w, spread.sigma_px + d, mean=mean)[0] for w in sides) for d in (step, -step)
    )
    if step > 0.0:
        variance += ((up - down) * spread.u_px / (2.0 * step)) ** 2
    return Recovery(share, math.sqrt(variance))


def corrected(
    reading: Reading,
    recovered: Recovery,
    *,
    around_k: float = 0.0,
    limit_k: float = LIMIT_K,
) -> Reading:
    """Return a part's reading with what its size took put back.

    Parameters
    ----------
    reading : Reading
        Rise or object temperature as read off the part's best pixel (or mean).
    recovered : Recovery
        The share that the part keeps.
    around_k : float
        Rise (or temperature, K) of the board around it, which fills the rest.
    limit_k : float
        Standard uncertainty above which it is not readable.

    Returns
    -------
    Reading
        With source "size" where that rules; not readable, with reason "too small, reads low",
        where the share is too uncertain for a correction.
    """
    if not reading.readable:
        return reading
    if recovered.too_small:
        return _refused(
            reading, f"too small, reads low: shows about {recovered.share:.0%} of its rise"
        )
    above_k = reading.value_k - around_k
    value_k = around_k + above_k / recovered.share
    u_read_k = reading.u_k / recovered.share
    u_size_k = abs(above_k) / recovered.share * recovered.u / recovered.share
    low_k, high_k = _ends(reading, recovered, around_k, value_k)
    u_k = math.hypot(u_read_k, u_size_k)
    dominant = "size" if u_size_k > u_read_k else reading.dominant
    freedom = float(effective_freedom((u_read_k, u_size_k), (reading.freedom, math.inf)))
    result = Reading(value_k, u_k, low_k, high_k, dominant, True, "", reading.linear, freedom)
    if u_k <= limit_k:
        return result
    return _refused(
        result, f"uncertain by {u_k:.1f} K, mostly {dominant}; the limit is {limit_k:g} K"
    )


def spread_from_edge(distance_px: Floats, value: Floats) -> Spread:
    """Return the spread from a straight edge between two even temperatures.

    Parameters
    ----------
    distance_px : ndarray
        Signed distance of pixel centres from the edge, px; its zero may be off.
    value : ndarray
        Counts or K at those pixels.

    Raises
    ------
    UsageError
        No edge is found in the values.
    """

    def edge(x: Floats, low: float, high: float, centre: float, sigma: float) -> Floats:
        return low + (high - low) * _edge(x - centre, max(abs(sigma), _SMALLEST_SIGMA_PX))

    ends = np.percentile(value, [5.0, 95.0])
    rising = np.corrcoef(distance_px, value)[0, 1] >= 0.0
    start = (*(ends if rising else ends[::-1]), float(np.median(distance_px)), 0.8)
    return _fit(edge, distance_px, value, start, "an edge")


def spread_from_wire(distance_px: Floats, value: Floats, width_px: float) -> Spread:
    """Return the spread from a hot straight wire of known width on an even ground.

    Parameters
    ----------
    distance_px, value : ndarray
        As for `spread_from_edge`, distance from the wire's axis.
    width_px : float
        Width of the wire in pixels.
    """

    def wire(x: Floats, ground: float, height: float, centre: float, sigma: float) -> Floats:
        width = max(abs(sigma), _SMALLEST_SIGMA_PX)
        up = _edge(x - centre + width_px / 2.0, width)
        return ground + height * (up - _edge(x - centre - width_px / 2.0, width))

    ground = float(np.median(value))
    start = (ground, float(np.max(value)) - ground, float(distance_px[np.argmax(value)]), 0.8)
    return _fit(wire, distance_px, value, start, "a wire")


def edge_distances(picture: NDArray[np.float64]) -> tuple[Floats, Floats]:
    """Return distance from the one straight edge in a cut of a picture, and the pixels' values.

    Parameters
    ----------
    picture : ndarray, shape (row, column)
        A cut that holds one straight edge and little else; a slight slant is best, for it samples
        the edge between pixels.

    Returns
    -------
    distance_px, value : ndarray, shape (pixels,)
        For `spread_from_edge`.
    """
    from scipy.ndimage import gaussian_filter  # late: most commands do without

    smooth = gaussian_filter(picture, 1.0)
    by_row, by_column = np.gradient(smooth)
    weight = by_row**2 + by_column**2
    weight[weight < 0.25 * weight.max()] = 0.0
    if not weight.sum() > 0.0:
        raise UsageError("the cut holds no edge; take one across a hot body's straight side")
    # the direction across the edge: principal axis of the gradients
    angle = 0.5 * math.atan2(
        2.0 * float((by_row * by_column * (weight > 0)).sum()),
        float(((by_column**2 - by_row**2) * (weight > 0)).sum()),
    )
    rows, columns = np.indices(picture.shape)
    across = columns * math.cos(angle) + rows * math.sin(angle)
    centre = float((across * weight).sum() / weight.sum())
    return (across - centre).ravel(), picture.astype(np.float64).ravel()


def _ends(
    reading: Reading, recovered: Recovery, around_k: float, value_k: float
) -> tuple[float, float]:
    """Return the 95 % interval: the share's own ends exact, the reading's beside them."""
    above_k = reading.value_k - around_k
    ends = []
    for sign in (1.0, -1.0):
        share = min(recovered.share + sign * COVERAGE_FACTOR * recovered.u, 1.0)
        away = around_k + above_k / share - value_k
        down, up = reading.value_k - reading.low_k, reading.high_k - reading.value_k
        ends.append((away, (down if away < 0.0 else up) / share))
    return (
        value_k - math.hypot(*min(ends)),
        value_k + math.hypot(*max(ends)),
    )


def _refused(reading: Reading, reason: str) -> Reading:
    return Reading(
        math.nan, reading.u_k, reading.low_k, math.inf, "size", False, reason, reading.linear
    )


def _side(width_px: float, sigma_px: float, *, mean: bool) -> tuple[float, float]:
    """Return mean and scatter, over positions between pixels, of one side's factor."""
    if mean:
        x = np.linspace(-0.5, 0.5, 201) * width_px
        return float(_pixel(x, width_px, sigma_px).mean()), 0.0
    shares = _pixel(_POSITIONS, width_px, sigma_px)
    return float(shares.mean()), float(shares.std())


def _pixel(x: Floats, width_px: float, sigma_px: float) -> Floats:
    """Return what a pixel centred at `x` sees of a strip of this width about 0."""
    return _edge(x + width_px / 2.0, sigma_px) - _edge(x - width_px / 2.0, sigma_px)


def _edge(x: Floats, sigma_px: float) -> Floats:
    """Return what a pixel centred at `x` sees of a half plane x > 0: Φ averaged over the pixel."""
    from scipy.special import ndtr  # late: most commands do without

    def integral(z: Floats) -> Floats:  # of Φ: z Φ(z) + φ(z)
        result: Floats = z * ndtr(z) + np.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi)
        return result

    return sigma_px * (integral((x + 0.5) / sigma_px) - integral((x - 0.5) / sigma_px))


def _fit(
    model: Callable[..., Floats],
    distance_px: Floats,
    value: Floats,
    start: tuple[float, ...],
    what: str,
) -> Spread:
    from scipy.optimize import least_squares  # late: the window starts without it

    solved = least_squares(lambda p: model(distance_px, *p) - value, start, max_nfev=200)
    freedom = max(value.size - len(start), 1)
    covariance = np.linalg.pinv(solved.jac.T @ solved.jac) * 2.0 * solved.cost / freedom
    u_px = math.sqrt(float(covariance[3, 3]))
    if not solved.success or float(solved.fun.std()) > 0.2 * float(np.ptp(value)):
        raise UsageError(
            f"{what} was not found in these pixels; cut closer, and across one straight side only"
        )
    return Spread(max(abs(float(solved.x[3])), _SMALLEST_SIGMA_PX), u_px)
