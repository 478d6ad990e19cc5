"""Heat too faint beside free drifts: found where nothing cools, and a drift is not taken for it.

Rises are closed solutions of a Gaussian source on a thin sheet: a step of P in a variance s² gives
(P/4πκ)[E1(r²/(2s²+4at)) - E1(r²/2s²)], a = κ/C (Carslaw & Jaeger, continuous point source, started
s²/2a earlier; from memory).
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import special

from thermview.analysis.heat.locate import Located, analyse
from thermview.analysis.heat_model import CAPACITY, Footprint
from thermview.analysis.prepare import Shots, take_of
from thermview.frames import SupplyLog

Floats = NDArray[np.float64]

MM = 0.5
SHAPE = (96, 128)
TIMES = np.arange(0.0, 14.0, 0.1)
ON_S = 4.0
KAPPA, SIZE_M, SEEN = 0.004, 0.9e-3, 0.92


def parts() -> list[Footprint]:
    """Parts of 2 × 1.5 mm in rows, pixels of 0.5 mm; the eighth from 0 is at (48, 34)."""
    corners = np.array([[-2, -1.5], [2, -1.5], [2, 1.5], [-2, 1.5]])
    places = [np.array([16.0 + 16 * (i % 6), 16.0 + 18 * (i // 6)]) for i in range(24)]
    return [Footprint(f"R{i}", corners + at, 3e-6, 0.5e-3) for i, at in enumerate(places)]


def per_watt(on_s: float) -> Floats:
    """Return the apparent rise of 1 W at (48, 34) since a step, K, shape (frame, row, column)."""
    y, x = np.mgrid[0 : SHAPE[0], 0 : SHAPE[1]] + 0.5
    r2 = ((x - 48.0) ** 2 + (y - 34.0) ** 2) * (MM * 1e-3) ** 2 + 1e-10
    since_s = np.maximum(TIMES - on_s, 0.0)[:, None, None]
    wide = 2 * SIZE_M**2 + 4 * KAPPA / CAPACITY * since_s
    rise = special.exp1(r2 / wide) - special.exp1(r2 / (2 * SIZE_M**2))
    return np.asarray(SEEN * rise / (4 * np.pi * KAPPA))


def found(rise_k: Floats, seed: int, *, logged: bool = True) -> Located:
    noise_k = np.random.default_rng(seed).normal(0, 0.04, rise_k.shape)
    pictures = (rise_k + 300.0 + noise_k).astype(np.float32)
    on = (TIMES >= ON_S).astype(np.float64)
    log = SupplyLog(TIMES, 2.0 * on, 0.001 * on) if logged else None
    shots = Shots(pictures, TIMES, np.zeros(len(TIMES), dtype=np.int64))
    return analyse(take_of(shots), parts(), MM, supply=log)


@pytest.fixture(scope="module")
def heat() -> Floats:
    return per_watt(ON_S)


@pytest.mark.parametrize("seed", [10, 11])
def test_heat_that_drifts_would_hide_is_found(heat: Floats, seed: int) -> None:
    """0.5 mW: with a drift and a decay of its own given away it has some 4 times the noise."""
    told = found(0.0005 * heat, seed)
    assert [one.part for one in told.suspects] == ["R8"]
    assert told.heated


def test_its_time_is_found_too(heat: Floats) -> None:
    told = [found(0.001 * heat, seed, logged=False) for seed in (10, 11, 12)]
    assert [one.suspects[0].part for one in told] == ["R8"] * 3
    assert np.median([one.power_on_s for one in told]) == pytest.approx(ON_S, abs=1.0)


@pytest.mark.parametrize("power_w", [0.0006, 0.0012])
@pytest.mark.parametrize("logged", [True, False])
def test_what_warmed_from_the_start_is_not_the_powers(power_w: float, logged: bool) -> None:
    """A part that has been running since before the recording warms on as slowly."""
    for seed in (10, 11):
        assert not found(power_w * per_watt(0.0), seed, logged=logged).heated


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_drift_of_the_parts_own_is_not_heat(heat: Floats, sign: float) -> None:
    drift = sign * 0.001 * heat[-1] * (TIMES / TIMES[-1])[:, None, None]
    for seed in (10, 11):
        assert not found(drift, seed).heated
