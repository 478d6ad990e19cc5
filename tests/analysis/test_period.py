"""A pulsed supply's period from the pictures, against astropy's Lomb–Scargle."""

from __future__ import annotations

import numpy as np
import pytest
from astropy.timeseries import LombScargle
from numpy.typing import NDArray

from thermview.analysis.period import find_period, line_power, steadiness, strongest_line
from thermview.analysis.prepare import Shots, Take, take_of
from thermview.simulation.supply import FedRail
from thermview.simulation.trials import Film, random_film, random_story


def uneven(rng: np.random.Generator, count: int = 400) -> NDArray[np.float64]:
    return np.asarray(np.cumsum(rng.uniform(0.05, 0.15, count)))


def test_the_spectrum_is_astropy_s() -> None:
    rng = np.random.default_rng(1)
    times_s, rates_hz = uneven(rng), np.linspace(0.1, 2.0, 200)
    curves = rng.normal(0, 1, (len(times_s), 3)) + np.sin(2 * np.pi * 0.7 * times_s)[:, None]
    ours = line_power(times_s, curves, rates_hz)
    for place in range(3):
        model = LombScargle(
            times_s, curves[:, place], center_data=False, fit_mean=False, normalization="psd"
        )
        theirs = model.power(rates_hz, method="slow")
        np.testing.assert_allclose(ours[:, place] / 2, theirs, rtol=1e-6, atol=1e-9)


@pytest.mark.parametrize("seed", range(12))
def test_one_place_among_many_tells_the_period(seed: int) -> None:
    """A square wave through a lag, drift all over, at uneven times; astropy on the one curve."""
    rng = np.random.default_rng(seed)
    times_s = uneven(rng)
    period_s = rng.uniform(0.8, 4.0)
    curves = rng.normal(0, 1, (len(times_s), 300)) + 0.2 * times_s[:, None] ** 0.5
    curves[:, 40] += 1.2 * np.sign(np.sin(2 * np.pi * times_s / period_s))
    found = strongest_line(times_s, curves)
    assert found is not None
    assert found.period_s == pytest.approx(period_s, rel=0.01)
    rates_hz = np.linspace(0.2, 1.5, 20_000)
    theirs = 1.0 / rates_hz[np.argmax(LombScargle(times_s, curves[:, 40]).power(rates_hz))]
    assert found.period_s == pytest.approx(theirs, rel=0.01)


def test_noise_and_drift_have_none() -> None:
    found = 0
    for seed in range(40):
        rng = np.random.default_rng(seed)
        times_s = uneven(rng, 300)
        drift = np.cumsum(rng.normal(0, 0.3, (len(times_s), 400)), axis=0)
        curves = rng.normal(0, 1, drift.shape) + drift
        found += strongest_line(times_s, curves) is not None
    assert found <= 1


def test_what_does_not_keep_its_phase_is_no_supply() -> None:
    """A wave whose phase wanders by a turn, as strong as one that holds; a burst; noise."""
    rng = np.random.default_rng(3)
    times_s = uneven(rng, 500)
    turn = 2 * np.pi * 0.5 * times_s
    holds = np.sin(turn)
    wanders = np.sin(turn + 2 * np.pi * times_s / times_s[-1])
    burst = np.where(times_s < times_s[-1] / 4, 4 * holds, 0.0)
    assert steadiness(times_s, holds, 0.5) > 0.98
    assert steadiness(times_s, wanders, 0.5) < 0.1
    assert steadiness(times_s, burst, 0.5) == pytest.approx(0.25, abs=0.02)  # one quarter of four
    noise = [steadiness(times_s, rng.normal(0, 1, 500), 0.5) for _ in range(400)]
    assert np.mean(noise) == pytest.approx(0.25, abs=0.03)  # the mean of a random walk of four
    quiet = rng.normal(0, 1, (500, 200))
    assert strongest_line(times_s, quiet + 0.5 * burst[:, None] * (np.arange(200) == 7)) is None
    assert strongest_line(times_s, quiet + holds[:, None] * (np.arange(200) == 7)) is not None


def taken(film: Film) -> Take:
    kelvin = film.counts.astype(np.float32) * np.float32(film.scale.k_per_count)
    good = ~film.shutter
    return take_of(Shots(kelvin[good], film.times_s[good], np.zeros(good.sum(), np.int64)))


@pytest.mark.parametrize("seed", [0, 1, 4, 5])
def test_on_simulated_boards(seed: int) -> None:
    """Pulses of 1.2 to 2 mW, 40 s."""
    programme = random_story(seed, "pulsed").programme
    assert isinstance(programme, FedRail)
    found = find_period(taken(random_film(seed, "pulsed")))
    assert found is not None
    assert found.period_s == pytest.approx(programme.supply.period_s, rel=0.01)


@pytest.mark.parametrize("kind", ["faint", "strong", "quiet"])
def test_an_unpulsed_supply_has_none(kind: str) -> None:
    assert [find_period(taken(random_film(seed, kind))) for seed in range(3)] == [None] * 3
