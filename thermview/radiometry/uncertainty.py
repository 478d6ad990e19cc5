"""How sure a reading is: standard uncertainty, 95 % interval, what it mostly comes from.

The standard uncertainty is the first-order propagation of JCGM 100 (the GUM). It fails where the
emissivity is small beside its own uncertainty, because the object's radiance is a quotient. The
interval is therefore not made from it: it holds every object temperature whose *predicted* radiance
agrees with the measured one within 1.96 standard uncertainties (more where one of them is known
from few readings: see `coverage`). The measurement equation is linear in the object's radiance and
nearly so in every other input, so this interval keeps its 95 % at any emissivity (the argument is
Fieller's for a quotient of two normal quantities). Where both disagree, the first-order result is
discarded and the reading says so.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from thermview.errors import UsageError
from thermview.radiometry.coverage import coverage_factor, effective_freedom
from thermview.radiometry.equation import foreign_radiance, object_gain, object_temperature
from thermview.radiometry.planck import Floats, band_radiance
from thermview.radiometry.setting import Setting

LIMIT_K: Final = 5.0
"""Standard uncertainty beyond which a reading is not shown, unless the user says otherwise."""
LINEAR_WITHIN: Final = 0.1
"""First order is believed where it misses the interval's ends by less than this part of it."""

SOURCES: Final = ("noise", "camera", "emissivity", "reflected temperature", "window", "air", "size")
"""What a reading's uncertainty can come from, in the order of `Readings.dominant`."""

_FREEDOMS: Final = ("camera_freedom", "noise_freedom")


@dataclass(frozen=True, slots=True)
class Doubt:
    """Standard uncertainties of what a reading is made from; K, or of the fraction itself.

    Attributes
    ----------
    noise_k : float
        Of the apparent temperature, new with every reading.
    camera_k : float
        Of the apparent temperature, the same for all readings (accuracy of the camera).
    emissivity, reflected_k, air_k, air_transmission, window_k, window_transmission : float
        Of the setting's values.
    reflected_change_k : float
        How much what is mirrored may have changed between a baseline and now.
    camera_gain : float
        Relative, of the camera's differences: what does not cancel in a rise.
    camera_freedom, noise_freedom : float
        Degrees of freedom of `camera_k`, where few contact readings tell it, and of `noise_k`,
        where few frames do; else infinite.
    """

    noise_k: float = 0.0
    camera_k: float = 0.0
    emissivity: float = 0.0
    reflected_k: float = 0.0
    air_k: float = 0.0
    air_transmission: float = 0.0
    window_k: float = 0.0
    window_transmission: float = 0.0
    reflected_change_k: float = 0.0
    camera_gain: float = 0.0
    camera_freedom: float = math.inf
    noise_freedom: float = math.inf

    def __post_init__(self) -> None:
        for name in _FREEDOMS:
            if not getattr(self, name) >= 1.0:
                words = name.replace("_freedom", "'s degrees of freedom")
                raise UsageError(f"the {words} are {getattr(self, name)}; give 1 or more")
        for name in [slot for slot in self.__slots__ if slot not in _FREEDOMS]:
            value = getattr(self, name)
            if not (math.isfinite(value) and value >= 0.0):
                raise UsageError(f"the uncertainty of {name} is {value}; it must be 0 or more")


def from_limit(half_width: float) -> float:
    """Return the standard uncertainty of a stated "± limit" (rectangular, JCGM 100 4.3.7)."""
    return half_width / math.sqrt(3.0)


def usual_doubt(
    setting: Setting, *, netd_k: float | None = None, accuracy_k: float | None = None
) -> Doubt:
    """Return what may be assumed where nobody stated anything better (common practice, no source).

    Parameters
    ----------
    setting : Setting
        A surface of high emissivity is taken as better known than a metal.
    netd_k : float or None
        Measured noise; else 0.05 K.
    accuracy_k : float or None
        Standard uncertainty of the camera; else that of a stated ± 2 K.
    """
    return Doubt(
        noise_k=0.05 if netd_k is None else netd_k,
        camera_k=from_limit(2.0) if accuracy_k is None else accuracy_k,
        emissivity=0.02 if setting.emissivity >= 0.85 else 0.05,
        reflected_k=2.0,
        air_k=2.0,
        air_transmission=0.0 if setting.air_transmission == 1.0 else 0.01,
        window_k=2.0,
        window_transmission=0.0 if setting.window_transmission == 1.0 else 0.02,
        reflected_change_k=0.2,
        camera_gain=0.01,
    )


@dataclass(frozen=True, slots=True)
class Reading:
    """One object temperature (or rise) with what is known of its worth.

    Attributes
    ----------
    value_k : float
        K; NaN where it is not readable.
    u_k : float
        Standard uncertainty, K: first order where `linear`, else from the interval's width.
    low_k, high_k : float
        95 % interval, K; it may reach from 0 to infinity.
    dominant : str
        The largest source, one of `SOURCES`.
    readable : bool
        A number may be shown.
    reason : str
        Why not, for people; empty where readable.
    linear : bool
        First-order propagation holds.
    freedom : float
        Effective degrees of freedom of `u_k`; infinite where nothing rests on few readings.
    """

    value_k: float
    u_k: float
    low_k: float
    high_k: float
    dominant: str
    readable: bool
    reason: str
    linear: bool
    freedom: float = math.inf

    @property
    def factor(self) -> float:
        """Return the coverage factor of the 95 % interval."""
        return float(coverage_factor(self.freedom))


@dataclass(frozen=True, slots=True, eq=False)
class Readings:
    """Many readings: arrays of one shape; `dominant` holds numbers of `SOURCES`."""

    value_k: Floats
    u_k: Floats
    low_k: Floats
    high_k: Floats
    dominant: NDArray[np.intp]
    readable: NDArray[np.bool_]
    linear: NDArray[np.bool_]
    shares_k: Floats
    """First-order contributions, K, shape (len(SOURCES), …)."""
    freedom: Floats


def read(apparent_k: float, setting: Setting, doubt: Doubt, *, limit_k: float = LIMIT_K) -> Reading:
    """Return one object temperature with its uncertainty; see `read_many`."""
    many = read_many(apparent_k, setting, doubt, limit_k=limit_k)
    return single(many, limit_k, no_solution(float(apparent_k)))


def read_many(
    apparent_k: ArrayLike, setting: Setting, doubt: Doubt, *, limit_k: float = LIMIT_K
) -> Readings:
    """Return object temperatures with their uncertainties.

    Parameters
    ----------
    apparent_k : array_like
        Apparent temperatures, K.
    setting, doubt : Setting, Doubt
        The surface and the way to the camera, and how well they are known.
    limit_k : float
        Standard uncertainty above which a reading is not readable.

    Returns
    -------
    Readings
        In the shape of `apparent_k`.
    """
    apparent = np.asarray(apparent_k, dtype=np.float64)
    object_k = object_temperature(apparent, setting)
    shares_k = contributions(apparent, object_k, setting, doubt)
    first_order_k = np.sqrt((shares_k**2).sum(axis=0))
    freedom = freedom_of(shares_k, doubt)
    interval_k = _interval(apparent, setting, doubt, coverage_factor(freedom))
    return judge(object_k, first_order_k, interval_k, shares_k, limit_k, freedom=freedom)


def freedom_of(shares_k: Floats, doubt: Doubt) -> Floats:
    """Return the effective degrees of freedom of contributions in the order of `SOURCES`."""
    freedom = np.full(len(SOURCES), np.inf)
    freedom[SOURCES.index("noise")] = doubt.noise_freedom
    freedom[SOURCES.index("camera")] = doubt.camera_freedom
    return effective_freedom(shares_k, freedom)


def contributions(apparent_k: Floats, object_k: Floats, setting: Setting, doubt: Doubt) -> Floats:
    """Return signed first-order contributions, K, in the order of `SOURCES`."""
    c = sensitivities(apparent_k, object_k, setting)
    return np.stack(
        [
            c["apparent"] * doubt.noise_k,
            c["apparent"] * doubt.camera_k,
            c["emissivity"] * doubt.emissivity,
            c["reflected"] * doubt.reflected_k,
            np.hypot(
                c["window_transmission"] * doubt.window_transmission,
                c["window"] * doubt.window_k,
            ),
            np.hypot(c["air_transmission"] * doubt.air_transmission, c["air"] * doubt.air_k),
            np.zeros_like(object_k),
        ]
    )


def sensitivities(apparent_k: Floats, object_k: Floats, setting: Setting) -> dict[str, Floats]:
    """Return dT_object/d(input) for every input of the measurement equation."""
    band = band_radiance(setting.band)
    eps, tau_w, tau_a = (
        setting.emissivity,
        setting.window_transmission,
        setting.air_transmission,
    )
    own = band.radiance(object_k)
    mirrored, window, air = (
        float(band.radiance(t)) for t in (setting.reflected_k, setting.window_k, setting.air_k)
    )
    leaving = eps * own + (1.0 - eps) * mirrored
    per_radiance = 1.0 / (object_gain(setting) * band.slope(object_k))
    return {
        "apparent": band.slope(apparent_k) * per_radiance,
        "emissivity": -tau_w * tau_a * (own - mirrored) * per_radiance,
        "reflected": -tau_w * tau_a * (1 - eps) * band.slope(setting.reflected_k) * per_radiance,
        "window_transmission": -tau_a * (leaving - window) * per_radiance,
        "window": -tau_a * (1 - tau_w) * band.slope(setting.window_k) * per_radiance,
        "air_transmission": -(tau_w * leaving + (1 - tau_w) * window - air) * per_radiance,
        "air": -(1 - tau_a) * band.slope(setting.air_k) * per_radiance,
    }


def _interval(
    apparent_k: Floats, setting: Setting, doubt: Doubt, reach: Floats
) -> tuple[Floats, Floats]:
    """Return the ends of the 95 % interval of the object's temperature, K.

    With x the object's radiance: (S - G·x)² ≤ k²·(a + b·(x - L_refl)² + w·(m(x))² + …), quadratic
    in x; S is the measured radiance without what is foreign to the object.
    """
    band = band_radiance(setting.band)
    constant, linear, square = _radiance_variance(apparent_k, setting, doubt)
    gain = object_gain(setting)
    signal = band.radiance(apparent_k) - foreign_radiance(setting)
    k2 = reach**2
    a = gain**2 - k2 * square
    b = -2.0 * gain * signal - k2 * linear
    c = signal**2 - k2 * constant
    root = np.sqrt(np.maximum(b * b - 4.0 * a * c, 0.0))
    bounded = a > 0.0
    two_a = 2.0 * np.where(bounded, a, np.nan)
    low, high = (-b - root) / two_a, (-b + root) / two_a
    low_k = np.where(low > 0.0, band.temperature(low), 0.0)
    high_k = np.where(high > 0.0, band.temperature(high), 0.0)
    unknown = np.isnan(signal)
    low_k = np.where(bounded, low_k, 0.0)
    high_k = np.where(bounded & ~np.isnan(high_k), high_k, np.inf)
    return np.where(unknown, np.nan, low_k), np.where(unknown, np.nan, high_k)


def _radiance_variance(
    apparent_k: Floats, setting: Setting, doubt: Doubt
) -> tuple[Floats, float, float]:
    """Return the variance of measured minus predicted radiance as c + l·x + s·x².

    x is the object's own radiance; the coefficients come from squaring the derivative of the
    measurement equation by each input.
    """
    band = band_radiance(setting.band)
    eps, tau_w, tau_a = setting.emissivity, setting.window_transmission, setting.air_transmission
    mirrored, window, air = (
        float(band.radiance(t)) for t in (setting.reflected_k, setting.window_k, setting.air_k)
    )
    slope_r, slope_w, slope_a = (
        float(band.slope(t)) for t in (setting.reflected_k, setting.window_k, setting.air_k)
    )
    constant = band.slope(apparent_k) ** 2 * (doubt.noise_k**2 + doubt.camera_k**2)
    constant = constant + (tau_w * tau_a * (1 - eps) * slope_r * doubt.reflected_k) ** 2
    constant = constant + (tau_a * (1 - tau_w) * slope_w * doubt.window_k) ** 2
    constant = constant + ((1 - tau_a) * slope_a * doubt.air_k) ** 2
    # inputs that multiply x: derivative = p + q·x
    rest_w = (1 - eps) * mirrored - window
    rest_a = tau_w * (1 - eps) * mirrored + (1 - tau_w) * window - air
    pairs = (
        (-tau_w * tau_a * mirrored, tau_w * tau_a, doubt.emissivity),
        (tau_a * rest_w, tau_a * eps, doubt.window_transmission),
        (rest_a, tau_w * eps, doubt.air_transmission),
    )
    for p, _, u in pairs:
        constant = constant + (p * u) ** 2
    linear = sum(2.0 * p * q * u * u for p, q, u in pairs)
    square = sum((q * u) ** 2 for _, q, u in pairs)
    return constant, linear, square


def judge(
    value_k: Floats,
    first_order_k: Floats,
    interval_k: tuple[Floats, Floats],
    shares_k: Floats,
    limit_k: float,
    *,
    freedom: ArrayLike = math.inf,
) -> Readings:
    """Decide between first order and interval, and whether a number may be shown."""
    low_k, high_k = interval_k
    reach = coverage_factor(freedom)
    half = reach * first_order_k
    with np.errstate(invalid="ignore"):  # infinity minus infinity: not linear, as it should be
        miss = np.fmax(np.abs(value_k - half - low_k), np.abs(value_k + half - high_k))
        linear = miss <= LINEAR_WITHIN * half + 1e-9
        u_k = np.where(linear, first_order_k, (high_k - low_k) / (2.0 * reach))
    u_k = np.where(np.isnan(value_k), np.nan, u_k)
    readable = np.isfinite(value_k) & (u_k <= limit_k)
    dominant = np.argmax(np.nan_to_num(np.abs(shares_k)), axis=0)
    return Readings(
        np.where(readable, value_k, np.nan),
        u_k,
        low_k,
        high_k,
        dominant,
        readable,
        linear,
        np.abs(shares_k),
        np.broadcast_to(np.asarray(freedom, np.float64), readable.shape),
    )


def single(many: Readings, limit_k: float, trouble: str) -> Reading:
    """Return the one reading of arrays without axes, with words where it is not readable."""
    readable = bool(many.readable)
    dominant = SOURCES[int(many.dominant)]
    reason = ""
    if not readable:
        u_k = float(many.u_k)
        if trouble or math.isnan(u_k):
            reason = trouble or "no object could look like that: check emissivity and reflection"
        else:
            reason = f"uncertain by {u_k:.1f} K, mostly {dominant}; the limit is {limit_k:g} K"
    return Reading(
        float(many.value_k),
        float(many.u_k),
        float(many.low_k),
        float(many.high_k),
        dominant,
        readable,
        reason,
        bool(many.linear),
        float(many.freedom),
    )


def no_solution(apparent_k: float) -> str:
    """Return what is wrong with an apparent temperature itself, or nothing."""
    return "" if math.isfinite(apparent_k) else "the camera gives no value here"
