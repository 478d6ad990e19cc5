"""Places warmed by a finger before the recording: they cool, and are no sources."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from thermview.analysis.heat.cooling import Cooling
from thermview.analysis.heat.locate import Located, analyse
from thermview.analysis.heat_model import CAPACITY, FILM, Footprint
from thermview.analysis.prepare import Shots, take_of
from thermview.analysis.responses import nuisances

Floats = NDArray[np.float64]

MM = 0.5
SHAPE = (96, 128)
TIMES = np.arange(0.0, 14.0, 0.1)
Y, X = np.mgrid[0 : SHAPE[0], 0 : SHAPE[1]] + 0.5


def parts() -> list[Footprint]:
    """Parts of 2 × 1.5 mm in rows, pixels of 0.5 mm."""
    corners = np.array([[-2, -1.5], [2, -1.5], [2, 1.5], [-2, 1.5]])
    places = [np.array([16.0 + 16 * (i % 6), 16.0 + 18 * (i // 6)]) for i in range(24)]
    return [Footprint(f"R{i}", corners + at, 3e-6, 0.5e-3) for i, at in enumerate(places)]


def cooling(place: tuple[float, float], size_mm: float, kappa: float, rise_k: float) -> Floats:
    """Return a Gaussian warm spot that runs off on a thin sheet with a film, closed form, K.

    The sheet's Green's function keeps a Gaussian one: its variance grows by 2κt/C, its height
    falls likewise, and the film takes exp(-ht/C) (Carslaw & Jaeger, instantaneous sources).
    """
    away2 = ((X - place[0]) ** 2 + (Y - place[1]) ** 2) * MM**2
    wide2 = size_mm**2 + 2 * kappa / CAPACITY * TIMES[:, None, None] * 1e6
    fades = np.exp(-FILM / CAPACITY * TIMES)[:, None, None]
    return np.asarray(rise_k * size_mm**2 / wide2 * np.exp(-away2 / 2 / wide2) * fades)


def found(rise: Floats, seed: int) -> Located:
    noise = np.random.default_rng(seed).normal(0, 0.03, rise.shape)
    pictures = (rise + 300.0 + noise).astype(np.float32)
    take = take_of(Shots(pictures, TIMES, np.zeros(len(TIMES), dtype=np.int64)))
    return analyse(take, parts(), MM)


@pytest.mark.parametrize("seed", [0, 1, 23, 39])
def test_a_spot_that_cools_heats_nothing(seed: int) -> None:
    rng = np.random.default_rng(seed)
    place = rng.uniform(30, 98), rng.uniform(25, 70)
    kappa = float(np.exp(rng.uniform(*np.log([0.0008, 0.012]))))
    rise = cooling(place, rng.uniform(1.5, 6.0), kappa, rng.uniform(0.5, 2.5))
    # a body there cools later than the board under it, and is as warm as the board was
    for part in parts():
        x, y = part.centre_px
        on = (np.abs(X - x) <= 2) & (np.abs(Y - y) <= 1.5)
        under = rise[:, on].mean(axis=1)
        lag_s, body = rng.uniform(0.3, 3.0), np.empty_like(under)
        body[0] = under[0]
        for k in range(1, len(TIMES)):
            body[k] = body[k - 1] + (under[k] - body[k - 1]) * (1 - np.exp(-0.1 / lag_s))
        rise[:, on] = body[:, None]
    assert not found(rise, seed).heated


def test_what_warms_beside_it_is_found() -> None:
    rise = cooling((64.0, 52.0), 4.0, 0.003, 1.5)
    x, y = parts()[14].centre_px
    away = np.hypot(X - x, Y - y)
    warms = 1 - np.exp(-np.maximum(TIMES - 4.0, 0) / 1.5)
    rise += 0.5 * np.exp(-(away**2) / 2 / 2.5**2) * warms[:, None, None]
    first = found(rise, 0).suspects[0]
    assert first.part == "R14"
    assert first.nature.value == "heating"


def test_decays_are_asked_for_only_where_something_cools() -> None:
    rise = cooling((64.0, 52.0), 4.0, 0.003, 1.5)
    rise += np.random.default_rng(0).normal(0, 0.03, rise.shape)
    none = np.zeros(len(TIMES), dtype=np.int64)
    told = Cooling(rise.astype(np.float32), TIMES, nuisances(TIMES, none))
    near, far = parts()[14], parts()[0]
    assert told.courses(near).shape[1] > 2
    assert told.courses(far).shape[1] == 0
    courses = told.courses(near)
    np.testing.assert_allclose(courses.T @ courses, np.eye(courses.shape[1]), atol=1e-9)
