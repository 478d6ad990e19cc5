"""Where a warming (or cooling) region will end and when, told early, with how sure that is.

Heat that spreads answers a step as a sum of decays of one sign: T(t) = T∞ ∓ Σ aᵢ·exp(−t/τᵢ),
aᵢ ≥ 0 (the modes of a linear system that only diffuses). A young curve shows the quick ones, and
slow ones may still lie ahead; a single exponential fitted to it ends too early and seems sure.
Therefore all time constants up to those of boards are offered at once, none with the wrong sign
(non-negative least squares). The sum of squares as a function of the end is convex; the ends that
fit nearly as well as the best make the interval (profile likelihood, see e.g. Bates & Watts,
Nonlinear Regression Analysis, ch. 6). Where it is wide, the end cannot be known yet and nothing is
told.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize_scalar, nnls
from scipy.special import fdtri

Floats = NDArray[np.float64]

CONFIDENCE = 0.95
FEWEST = 12
LEAST_S = 30.0
"""A part's own body settles within seconds, the board it sits on in minutes (ρcd/h is 160 s for
1.6 mm laminate losing 20 W/m²K): what fits a shorter stretch may be the part's constant only."""
MOST_POINTS = 200
NEARLY = 0.05
"""Settled is what has so little of its change still before it."""
LARGEST_SHARE = 0.25
"""An end that is uncertain by more than this share of the whole change is not told."""
CLEAR = 8.0
"""The change must be so many times the scatter of a sample."""
SLOWEST_S = 600.0
"""Of boards and large bodies: laminate takes 110 s in moving air to 270 s (ρcd/h, h 30 to 12
W/m²K), thick copper and relays longer."""
TAUS = 48
ENDS = (0.8, 6.0)
"""Ends that are tried: so many times the change that is seen."""
DRIFT_K = 0.05
"""What a camera that has run in wanders within minutes (common practice, no source)."""
_HALVINGS = 24


@dataclass(frozen=True, slots=True)
class Forecast:
    """Where a curve ends, and when.

    Attributes
    ----------
    end_k : float
        T∞, K.
    low_k, high_k : float
        Between these it ends in 95 of 100 cases if its decays are those offered, K; on simulated
        boards it was 80.
    tau_s, tau_low_s, tau_high_s : float
        Time constant, the mean over what decays, and what it is at the interval's ends, s.
    settled_s : float
        Time, on the samples' clock, from which less than a twentieth of the change is left.
    """

    end_k: float
    low_k: float
    high_k: float
    tau_s: float
    tau_low_s: float
    tau_high_s: float
    settled_s: float

    @property
    def half_k(self) -> float:
        """Return the larger half of the 95 % interval, K."""
        return max(self.high_k - self.end_k, self.end_k - self.low_k)


def forecast(times_s: Floats, values_k: NDArray[np.floating]) -> Forecast | None:
    """Tell where a curve that follows a step will end; None while it cannot be known.

    Parameters
    ----------
    times_s, values_k : ndarray, shape (sample,)
        From the step on; NaN is passed over.
    """
    known = np.isfinite(values_k)
    times, values = times_s[known], values_k[known].astype(np.float64)
    if len(times) < FEWEST or np.ptp(times) < LEAST_S:
        return None
    fitted = fit_decays(*_thinned(times, values))
    return fitted.forecast if fitted is not None and fitted.worth_telling else None


def _thinned(times_s: Floats, values_k: Floats) -> tuple[Floats, Floats]:
    """Return means of equal groups of samples, `MOST_POINTS` at most."""
    group = -(-len(times_s) // MOST_POINTS)
    whole = len(times_s) // group * group
    return (
        times_s[-whole:].reshape(-1, group).mean(axis=1),
        values_k[-whole:].reshape(-1, group).mean(axis=1),
    )


@dataclass(frozen=True, slots=True)
class Decays:
    """A fit of decays.

    Attributes
    ----------
    forecast : Forecast
    change_k : float
        From the first sample to the end, K.
    scatter_k : float
        Standard deviation of the residuals, K.
    closed : bool
        The data bound the end.
    """

    forecast: Forecast
    change_k: float
    scatter_k: float
    closed: bool

    @property
    def worth_telling(self) -> bool:
        """Tell whether the end is known well enough to be of use."""
        return (
            self.closed
            and abs(self.change_k) > CLEAR * self.scatter_k
            and self.forecast.half_k < LARGEST_SHARE * abs(self.change_k)
        )


class _Profile:
    """The best sums of squares for given ends.

    Parameters
    ----------
    since_s, rise : ndarray, shape (sample,)
        Rises are in units of the change that is seen.
    """

    def __init__(self, since_s: Floats, rise: Floats) -> None:
        span_s = float(since_s[-1])
        quickest_s = 2.0 * span_s / len(since_s)
        self.taus_s: Floats = np.geomspace(quickest_s, max(SLOWEST_S, span_s), TAUS)
        decays = np.exp(-since_s[:, None] / self.taus_s)
        table = np.concatenate([decays, np.ones((len(rise), 1)), rise[:, None]], axis=1)
        self._few: Floats = np.asarray(
            np.linalg.qr(table, mode="r")
        )  # all that products of the columns tell

    def fit(self, end: float) -> tuple[Floats, float]:
        """Return the decays' sizes, shape (tau,), and the sum of squares that they leave."""
        few = self._few
        sizes, left = nnls(few[:, :TAUS], end * few[:, TAUS] - few[:, TAUS + 1])
        return np.asarray(sizes), float(left) ** 2

    def squares(self, end: float) -> float:
        """Return the least sum of squares of curves with that end."""
        return self.fit(end)[1]

    def crossing(self, inside: float, outside: float, level: float) -> float:
        """Return the end between two at which the sum of squares passes a level."""
        if self.squares(outside) <= level:
            return outside
        for _ in range(_HALVINGS):
            middle = (inside + outside) / 2
            if self.squares(middle) <= level:
                inside = middle
            else:
                outside = middle
        return inside


def fit_decays(times_s: Floats, values_k: Floats) -> Decays | None:
    """Fit decays of one sign; None where there is no change.

    Parameters
    ----------
    times_s, values_k : ndarray, shape (sample,)
    """
    since = times_s - times_s[0]
    few = max(len(values_k) // 20, 2)
    start_k = float(values_k[:few].mean())
    seen_k = float(values_k[-few:].mean()) - start_k
    if seen_k == 0.0:
        return None
    rise = (values_k - start_k) / seen_k
    profile, count = _Profile(since, rise), len(rise)
    found = minimize_scalar(profile.squares, bounds=ENDS, method="bounded", options={"xatol": 1e-4})
    end, taus_s = float(found.x), profile.taus_s
    sizes, left = profile.fit(end)
    left = max(left, 1e-12 * count)
    residual = rise - end + np.exp(-since[:, None] / profile.taus_s) @ sizes
    alike = max(float(residual[1:] @ residual[:-1]) / max(float(residual @ residual), 1e-30), 0.0)
    # neighbours that scatter together count for fewer samples
    freedom = max(count * (1 - alike) / (1 + alike) - 1.0 - np.count_nonzero(sizes), 1.0)
    level = left * (1.0 + float(fdtri(1, freedom, CONFIDENCE)) / freedom)
    high = profile.crossing(end, ENDS[1], level)
    low = profile.crossing(end, ENDS[0], level)
    simple = _single(since, rise)
    if simple.squares <= level:  # as good: no more is needed
        low, high = min(low, simple.end), max(high, simple.end)
        end, taus_s, sizes = simple.end, np.array([simple.tau_s]), np.array([simple.size])
    change_k, drift_k = seen_k * end, 2.0 * DRIFT_K / abs(seen_k)
    reach = math.hypot(end - low, drift_k), math.hypot(high - end, drift_k)
    ends_k = start_k + seen_k * np.array([end - reach[0], end + reach[1]])
    usual = [_usual(taus_s, sizes)]
    usual += [_usual(profile.taus_s, profile.fit(at)[0]) for at in (low, high)]
    told = Forecast(
        end_k=start_k + change_k,
        low_k=float(ends_k.min()),
        high_k=float(ends_k.max()),
        tau_s=usual[0],
        tau_low_s=min(usual),
        tau_high_s=max(usual),
        settled_s=float(times_s[0]) + _settled(taus_s, sizes),
    )
    scatter_k = abs(seen_k) * math.sqrt(left / count)
    return Decays(told, change_k, scatter_k, high < ENDS[1])


@dataclass(frozen=True, slots=True)
class _Single:
    """The best single decay: its end, size (both in units of the change seen), and misfit."""

    tau_s: float
    end: float
    size: float
    squares: float


def _single(since_s: Floats, rise: Floats) -> _Single:
    span_s = float(since_s[-1])
    taus_s = np.geomspace(2.0 * span_s / len(rise), max(SLOWEST_S, span_s), 5 * TAUS)
    decays = np.exp(-since_s / taus_s[:, None])
    middle = decays.mean(axis=1)
    off = rise - rise.mean()
    apart = decays - middle[:, None]
    size = np.maximum(-(apart @ off) / np.einsum("ts,ts->t", apart, apart), 0.0)
    squares = ((off + size[:, None] * apart) ** 2).sum(axis=1)
    at = int(np.argmin(squares))
    end = float(rise.mean() + size[at] * middle[at])
    return _Single(float(taus_s[at]), end, float(size[at]), float(squares[at]))


def _usual(taus_s: Floats, sizes: Floats) -> float:
    """Return the mean time constant, by its logarithm, of decays of some sizes, s."""
    return float(np.exp(sizes @ np.log(taus_s) / max(float(sizes.sum()), 1e-12)))


def _settled(taus_s: Floats, sizes: Floats) -> float:
    """Return when less than a twentieth of all is left, s."""
    times = np.geomspace(0.1, 4.0 * float(taus_s.max()), 2000)
    left = np.exp(-times[:, None] / taus_s) @ sizes
    return float(times[int(np.argmax(left < NEARLY * max(float(sizes.sum()), 1e-12)))])
