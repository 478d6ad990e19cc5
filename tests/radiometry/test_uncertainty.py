"""Uncertainty against the GUM, Monte Carlo (JCGM 101), GTC, `uncertainties`, and coverage."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import GTC
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from uncertainties import ufloat, wrap

from thermview.errors import UsageError
from thermview.radiometry import Setting, apparent_temperature, band_radiance, object_temperature
from thermview.radiometry.coverage import COVERAGE_FACTOR, coverage_factor, effective_freedom
from thermview.radiometry.emissivity import first_order
from thermview.radiometry.rise import read_rise, read_rises
from thermview.radiometry.uncertainty import (
    SOURCES,
    Doubt,
    contributions,
    from_limit,
    read,
    read_many,
    usual_doubt,
)

ZERO_C = 273.15
CASE = Doubt(camera_k=0.5, emissivity=0.02, reflected_k=2.0)


def _seen(object_c: float, setting: Setting) -> float:
    return float(apparent_temperature(object_c + ZERO_C, setting))


def _trials(
    apparent_k: float, setting: Setting, doubt: Doubt, count: int, seed: int
) -> NDArray[np.float64]:
    """Propagate distributions (JCGM 101): object temperatures of normal draws of the inputs."""
    rng = np.random.default_rng(seed)
    band = band_radiance(setting.band)
    u_apparent = math.hypot(doubt.noise_k, doubt.camera_k)
    seen = band.radiance(apparent_k + u_apparent * rng.standard_normal(count))
    eps = setting.emissivity + doubt.emissivity * rng.standard_normal(count)
    room = band.radiance(setting.reflected_k + doubt.reflected_k * rng.standard_normal(count))
    eps = np.where(eps > 0, eps, np.nan)
    return band.temperature(room + (seen - room) / eps)


def test_well_known_surface_is_linear() -> None:
    # computed (SI constants, scipy): terms, combined; Monte Carlo .8584, [58.369, 61.736] °C
    setting = Setting(0.95)
    apparent_k = _seen(60, setting)
    reading = read(apparent_k, setting, CASE)
    assert reading.value_k - ZERO_C == pytest.approx(60, abs=1e-6)
    assert reading.u_k == pytest.approx(0.8576, abs=6e-5)
    assert reading.linear
    assert reading.dominant == "emissivity"
    shares = np.abs(contributions(np.array(apparent_k), np.array(60 + ZERO_C), setting, CASE))
    found = dict(zip(SOURCES, shares, strict=True))
    assert float(found["emissivity"]) == pytest.approx(0.6773, abs=6e-5)
    assert float(found["reflected temperature"]) == pytest.approx(0.0779, abs=6e-5)
    assert float(found["camera"]) == pytest.approx(0.5203, abs=6e-5)
    # JCGM 101, 8.1 (from memory): both ends to half a unit of the last of one or two digits of u
    assert reading.low_k - ZERO_C == pytest.approx(58.369, abs=0.05)
    assert reading.high_k - ZERO_C == pytest.approx(61.736, abs=0.05)


def test_shiny_surface_is_not_linear_and_says_so() -> None:
    # computed: first order 6.523; Monte Carlo 7.07, [49.60, 77.14] °C
    setting = Setting(0.30)
    doubt = replace(CASE, emissivity=0.05)
    apparent_k = _seen(60, setting)
    shares = contributions(np.array(apparent_k), np.array(60 + ZERO_C), setting, doubt)
    assert math.sqrt(float((shares**2).sum())) == pytest.approx(6.523, abs=6e-4)
    reading = read(apparent_k, setting, doubt, limit_k=10.0)
    assert not reading.linear
    assert reading.u_k == pytest.approx(7.07, abs=0.1)
    assert reading.low_k - ZERO_C == pytest.approx(49.60, abs=0.5)
    assert reading.high_k - ZERO_C == pytest.approx(77.14, abs=0.5)
    refused = read(apparent_k, setting, doubt, limit_k=5.0)
    assert not refused.readable
    assert math.isnan(refused.value_k)
    assert refused.reason == "uncertain by 7.0 K, mostly emissivity; the limit is 5 K"


@pytest.mark.parametrize(
    ("eps", "u_eps", "object_c"),
    [(0.95, 0.02, 60), (0.6, 0.05, 100), (0.3, 0.05, 60), (0.5, 0.1, -10)],
)
def test_interval_against_monte_carlo(eps: float, u_eps: float, object_c: float) -> None:
    setting = Setting(eps)
    doubt = replace(CASE, emissivity=u_eps)
    apparent_k = _seen(object_c, setting)
    trials = _trials(apparent_k, setting, doubt, 400_000, seed=1)
    low, high = np.nanquantile(trials, [0.025, 0.975])
    reading = read(apparent_k, setting, doubt, limit_k=100.0)
    width = high - low
    assert reading.low_k == pytest.approx(low, abs=0.03 * width)
    assert reading.high_k == pytest.approx(high, abs=0.03 * width)


def test_first_order_agrees_with_gtc_and_uncertainties() -> None:
    setting = Setting(0.8, 300.0, 290.0, 0.95, 305.0, 0.9)
    doubt = Doubt(0.05, 0.5, 0.03, 2.0, 1.0, 0.01, 3.0, 0.02)
    band = band_radiance(setting.band)
    apparent_k = _seen(70, setting)
    inputs = (
        (apparent_k, math.hypot(doubt.noise_k, doubt.camera_k)),
        (setting.emissivity, doubt.emissivity),
        (setting.reflected_k, doubt.reflected_k),
        (setting.air_k, doubt.air_k),
        (setting.air_transmission, doubt.air_transmission),
        (setting.window_k, doubt.window_k),
        (setting.window_transmission, doubt.window_transmission),
    )

    def invert(apparent: float, *settings: float) -> float:
        return float(object_temperature(apparent, Setting(*settings)))  # type: ignore[arg-type]

    by_library = wrap(invert)(*[ufloat(*pair) for pair in inputs])
    reading = read(apparent_k, setting, doubt)
    assert reading.u_k == pytest.approx(by_library.std_dev, rel=1e-4)

    # GTC cannot see into the spline: give it Sakuma-Hattori's closed form of the same band
    def radiance(t: Any) -> Any:
        return 6822.093 / (GTC.exp(14387.76877 / (9.331744 * t + 179.4192)) - 1)

    app, eps, refl, air, tau_a, window, tau_w = (GTC.ureal(x, u) for x, u in inputs)
    foreign = tau_a * (1 - tau_w) * radiance(window) + (1 - tau_a) * radiance(air)
    mirrored = (1 - eps) * radiance(refl)
    own = ((radiance(app) - foreign) / (tau_a * tau_w) - mirrored) / eps
    by_gtc = (14387.76877 / GTC.log(6822.093 / own + 1) - 179.4192) / 9.331744
    assert by_gtc.x == pytest.approx(reading.value_k, abs=5e-3)
    assert reading.u_k == pytest.approx(by_gtc.u, rel=1e-3)
    assert float(band.radiance(350.0)) == pytest.approx(
        float(radiance(GTC.ureal(350.0, 0)).x), rel=2e-5
    )


def _sum_of(widths: tuple[float, ...]) -> float:
    inputs = {str(n): (0.0, u) for n, u in enumerate(widths)}
    return first_order(lambda v: math.fsum(v.values()), inputs)[1]


def test_gum_example_h1() -> None:
    # JCGM 100 H.1: end gauge, components in nm; 31.6639 nm computed with GTC (32 nm printed)
    parts = (25.0, 16.599, 6.7, 5.8, 3.9, 2.887)
    assert _sum_of(parts) == pytest.approx(31.6639, abs=6e-5)
    assert sum(GTC.ureal(0.0, p) for p in parts).u == pytest.approx(_sum_of(parts))
    # table H.1's degrees of freedom; 16.75 computed with GTC (the GUM prints 16)
    freedom = (18, 2, 8, 24, 5, 50)
    gtc = sum(GTC.ureal(0.0, u, df) for u, df in zip(parts, freedom, strict=True))
    assert float(effective_freedom(parts, freedom)) == pytest.approx(16.75, abs=0.005)
    assert float(effective_freedom(parts, freedom)) == pytest.approx(gtc.df)


def test_coverage_factors_of_students_t() -> None:
    # JCGM 100 table G.2, 95 %
    printed = {1: 12.71, 2: 4.30, 3: 3.18, 5: 2.57, 10: 2.23, 20: 2.09, 50: 2.01}
    for freedom, factor in printed.items():
        assert float(coverage_factor(freedom)) == pytest.approx(factor, abs=0.005)
    assert float(coverage_factor(math.inf)) == COVERAGE_FACTOR
    assert float(effective_freedom((1.0, 2.0), (math.inf, math.inf))) == math.inf


def test_few_contact_readings_widen_the_interval_and_not_the_uncertainty() -> None:
    setting = Setting(emissivity=0.95)
    sure, few = (
        read(330.0, setting, Doubt(camera_k=0.5, emissivity=0.01, camera_freedom=freedom))
        for freedom in (math.inf, 2.0)
    )
    assert few.u_k == pytest.approx(sure.u_k, rel=1e-3)
    wider = (few.high_k - few.low_k) / (sure.high_k - sure.low_k)
    camera_share = 0.5 * 1.04 / sure.u_k  # dT_obj/dT_app at ε .95, published list above
    factor = float(coverage_factor(2.0 / camera_share**4)) / COVERAGE_FACTOR
    assert wider == pytest.approx(factor, rel=0.02)


def test_coverage_holds_with_a_camera_known_from_three_readings() -> None:
    rng = np.random.default_rng(3)
    held = 0
    for _ in range(4000):
        errors = rng.normal(0.0, 0.5, 4)  # three readings of an offset, and the one to correct
        offset, u_k = errors[:3].mean(), errors[:3].std(ddof=1) / math.sqrt(3.0)
        doubt = Doubt(camera_k=max(u_k, 1e-6), camera_freedom=2.0)
        found = read(330.0 - offset, Setting(), doubt, limit_k=math.inf)
        held += found.low_k <= 330.0 <= found.high_k
    assert 0.94 < held / 4000 < 0.96


@pytest.mark.parametrize("frames", [4, 16])
def test_coverage_holds_with_a_noise_known_from_few_frames(frames: int) -> None:
    """JCGM 100 G.3: Student's t holds its 95 % where the normal quantile would not."""
    rng = np.random.default_rng(frames)
    setting = Setting(emissivity=0.95)
    held = {"temperature": 0, "rise": 0, "normal": 0}
    trials = 3000
    for _ in range(trials):
        noise_k = rng.normal(0.0, 0.3, frames).std(ddof=1)
        now_k = float(apparent_temperature(330.0, setting)) + rng.normal(0.0, 0.3)
        zero_k = float(apparent_temperature(300.0, setting))
        doubt = Doubt(noise_k=noise_k, noise_freedom=frames - 1.0)
        found = read(now_k, setting, doubt, limit_k=math.inf)
        normal = read(now_k, setting, Doubt(noise_k=noise_k), limit_k=math.inf)
        rise = read_rise(now_k, zero_k, setting, doubt, limit_k=math.inf)
        assert found.freedom == pytest.approx(frames - 1.0)
        assert found.u_k == normal.u_k
        held["temperature"] += found.low_k <= 330.0 <= found.high_k
        held["rise"] += rise.low_k <= 30.0 <= rise.high_k
        held["normal"] += normal.low_k <= 330.0 <= normal.high_k
    assert 0.94 < held["temperature"] / trials < 0.96
    assert 0.94 < held["rise"] / trials < 0.96
    if frames == 4:
        assert held["normal"] / trials < 0.9


def test_effective_freedom_of_a_reading_is_welch_and_satterthwaite_s() -> None:
    """The same sum by GTC: noise from 9 frames, all else known otherwise."""
    setting, doubt = Setting(emissivity=0.95), Doubt(noise_k=0.3, camera_k=0.2, noise_freedom=8.0)
    found = read(330.0, setting, doubt)
    second = GTC.ureal(0.0, 0.3, 8) + GTC.ureal(0.0, 0.2)
    assert found.freedom == pytest.approx(second.df, rel=1e-6)
    assert found.factor == pytest.approx(float(GTC.reporting.k_factor(second.df)), abs=2e-3)
    with pytest.raises(UsageError, match="noise's degrees of freedom"):
        Doubt(noise_freedom=0.5)


def test_jcgm_101_additive_model() -> None:
    # JCGM 101 section 9.2 (from memory, reproduced by Monte Carlo here)
    assert _sum_of((1, 1, 1, 1)) == pytest.approx(2.0)
    assert pytest.approx(3.92, abs=0.005) == COVERAGE_FACTOR * 2.0
    wide = _sum_of((1, 1, 1, 10))
    assert wide == pytest.approx(10.1, abs=0.06)
    assert pytest.approx(19.9, abs=0.05) == COVERAGE_FACTOR * wide
    rng = np.random.default_rng(9)
    half = math.sqrt(3.0)  # rectangular of unit standard uncertainty
    flat = rng.uniform(-half, half, (4, 1_000_000))
    assert np.quantile(flat.sum(axis=0), 0.975) == pytest.approx(3.88, abs=0.02)
    # one wide rectangular input: the normal interval is too wide, never too narrow
    assert np.quantile(flat[:3].sum(axis=0) + 10 * flat[3], 0.975) == pytest.approx(17.0, abs=0.05)


def test_limits_are_rectangular() -> None:
    # JCGM 100, 4.3.7: a/√3
    assert from_limit(2.0) == pytest.approx(1.1547, abs=1e-4)


@given(
    st.floats(0.05, 1.0),
    st.floats(230.0, 500.0),
    st.floats(0.0, 0.2),
    st.floats(0.0, 5.0),
    st.floats(0.0, 3.0),
)
def test_never_a_warning_and_the_value_lies_inside(
    eps: float, object_k: float, u_eps: float, u_reflected: float, u_camera: float
) -> None:
    setting = Setting(eps)
    doubt = Doubt(camera_k=u_camera, emissivity=u_eps, reflected_k=u_reflected)
    apparent_k = float(apparent_temperature(object_k, setting))
    reading = read(apparent_k, setting, doubt, limit_k=math.inf)
    assert reading.low_k - 1e-3 <= object_k <= reading.high_k + 1e-3
    assert reading.low_k >= 0.0


def test_nothing_to_read() -> None:
    for apparent_k, words in ((math.nan, "no value"), (250.0, "no object")):
        reading = read(apparent_k, Setting(0.1, reflected_k=373.15), CASE)
        assert not reading.readable
        assert words in reading.reason
        assert math.isnan(reading.value_k)


def test_emissivity_that_may_be_zero_bounds_nothing() -> None:
    reading = read(300.0, Setting(0.05), Doubt(emissivity=0.05))
    assert (reading.low_k, reading.high_k) == (0.0, math.inf)
    assert not reading.readable
    assert "emissivity" in reading.reason


def test_negative_doubt_is_refused() -> None:
    with pytest.raises(UsageError, match=r"emissivity is -0\.1"):
        Doubt(emissivity=-0.1)


def test_many_readings_are_the_single_ones() -> None:
    setting = Setting(0.7)
    apparent_k = np.array([[300.0, 330.0, np.nan], [280.0, 350.0, 400.0]])
    many = read_many(apparent_k, setting, CASE)
    for place, kelvin in np.ndenumerate(apparent_k):
        one = read(float(kelvin), setting, CASE)
        np.testing.assert_equal(float(many.value_k[place]), one.value_k)
        np.testing.assert_equal(float(many.u_k[place]), one.u_k)
        assert bool(many.readable[place]) == one.readable
        if one.readable:
            assert SOURCES[many.dominant[place]] == one.dominant


EPS_BANDS = np.linspace(0.3, 0.98, 6)


def test_coverage_over_ten_thousand_scenes() -> None:
    rng = np.random.default_rng(20)
    held = np.zeros(5)
    total = np.zeros(5)
    held_readable = np.zeros(5)
    total_readable = np.zeros(5)
    refused = []
    for _ in range(10_000):
        eps, room_k = rng.uniform(0.3, 0.98), rng.uniform(283.0, 308.0)
        truth_k = rng.uniform(-20.0, 150.0) + ZERO_C
        doubt = Doubt(
            noise_k=rng.uniform(0.02, 0.1),
            camera_k=rng.uniform(0.2, 1.2),
            emissivity=rng.uniform(0.005, 0.05),
            reflected_k=rng.uniform(0.3, 3.0),
        )
        error = rng.standard_normal(4)
        apparent_k = float(apparent_temperature(truth_k, Setting(eps, room_k)))
        apparent_k += doubt.noise_k * error[0] + doubt.camera_k * error[1]
        stated = Setting(
            min(eps + doubt.emissivity * error[2], 1.0), room_k + doubt.reflected_k * error[3]
        )
        reading = read(apparent_k, stated, doubt, limit_k=3.0)
        band = min(int(np.searchsorted(EPS_BANDS, eps, side="right")) - 1, 4)
        inside = reading.low_k <= truth_k <= reading.high_k
        total[band] += 1
        held[band] += inside
        total_readable[band] += reading.readable
        held_readable[band] += inside and reading.readable
        if not reading.readable:
            refused.append((apparent_k, stated, doubt))
    assert total.min() > 1900
    for share in (held / total, held_readable / total_readable):
        assert ((share >= 0.93) & (share <= 0.97)).all(), share
    _assert_refusals_are_right(refused, limit_k=3.0)


def _assert_refusals_are_right(refused: list[tuple[float, Setting, Doubt]], limit_k: float) -> None:
    """Check by Monte Carlo that what was called not readable is that uncertain."""
    assert len(refused) > 500
    for apparent_k, setting, doubt in refused[::10]:
        trials = _trials(apparent_k, setting, doubt, 20_000, seed=3)
        low, high = np.nanquantile(trials, [0.025, 0.975])
        assert (high - low) / (2 * COVERAGE_FACTOR) > 0.95 * limit_k


def test_rise_keeps_what_does_not_cancel() -> None:
    setting = Setting(0.9)
    now_k, before_k = _seen(41, setting), _seen(23, setting)
    doubt = Doubt(noise_k=0.05, camera_k=2.0, emissivity=0.03, reflected_k=2.0)
    rise = read_rise(now_k, before_k, setting, doubt, baseline_noise_k=0.005)
    assert rise.value_k == pytest.approx(18.0, abs=1e-6)
    single = read(now_k, setting, doubt)
    assert single.u_k > 2.0
    assert rise.u_k < 0.75  # the camera's 2 K are gone, the emissivity's share of 18 K stays
    assert rise.dominant == "emissivity"
    shift = read_rise(now_k, before_k, setting, Doubt(camera_k=2.0))
    assert shift.u_k < 0.2


@pytest.mark.parametrize(("eps", "u_eps"), [(0.95, 0.02), (0.6, 0.05), (0.3, 0.05)])
def test_rise_against_monte_carlo(eps: float, u_eps: float) -> None:
    setting = Setting(eps)
    doubt = Doubt(
        noise_k=0.05,
        camera_k=1.0,
        emissivity=u_eps,
        reflected_k=2.0,
        reflected_change_k=0.1,
        camera_gain=0.01,
    )
    now_k, before_k = _seen(60, setting), _seen(25, setting)
    rng = np.random.default_rng(8)
    n = 400_000
    z = rng.standard_normal((7, n))
    band = band_radiance()
    eps_n = eps + u_eps * z[0]
    room_before = setting.reflected_k + 2.0 * z[1]
    room_now = room_before + 0.1 * z[2]
    offset = 1.0 * z[3]
    seen_before = before_k + offset + 0.01 * z[4]
    seen_now = now_k + offset + 0.05 * z[5] + 0.01 * z[6] * (now_k - before_k)

    def solve(seen: NDArray[np.float64], room: NDArray[np.float64]) -> NDArray[np.float64]:
        mirrored = band.radiance(room)
        return band.temperature(mirrored + (band.radiance(seen) - mirrored) / eps_n)

    trials = solve(seen_now, room_now) - solve(seen_before, room_before)
    low, high = np.nanquantile(trials, [0.025, 0.975])
    rise = read_rise(now_k, before_k, setting, doubt, baseline_noise_k=0.01, limit_k=100.0)
    assert rise.value_k == pytest.approx(35.0, abs=1e-6)
    assert rise.low_k == pytest.approx(low, abs=0.04 * (high - low))
    assert rise.high_k == pytest.approx(high, abs=0.04 * (high - low))
    assert rise.u_k == pytest.approx(np.nanstd(trials), rel=0.05)


def test_rise_of_what_is_not_there() -> None:
    assert not read_rise(math.nan, 300.0, Setting(0.9), CASE).readable
    assert not read_rise(310.0, math.nan, Setting(0.9), CASE).readable
    low = read_rise(310.0, 300.0, Setting(0.05), Doubt(emissivity=0.05))
    assert (low.low_k, low.high_k) == (-math.inf, math.inf)
    assert not low.readable


def test_many_rises_are_the_single_ones() -> None:
    setting = Setting(0.6)
    doubt = usual_doubt(setting)
    now_k = np.array([298.0, 310.0, np.nan, 340.0])
    many = read_rises(now_k, 297.0, setting, doubt, baseline_noise_k=0.01)
    for place, kelvin in enumerate(now_k):
        one = read_rise(float(kelvin), 297.0, setting, doubt, baseline_noise_k=0.01)
        np.testing.assert_equal(float(many.value_k[place]), one.value_k)
        np.testing.assert_equal(float(many.high_k[place]), one.high_k)


def test_coverage_of_rises() -> None:
    rng = np.random.default_rng(21)
    held = 0
    trials = 1500
    for _ in range(trials):
        eps, room_k, start_k = rng.uniform(0.3, 0.98), rng.uniform(283, 308), rng.uniform(290, 305)
        truth_k = rng.uniform(0.0, 60.0)
        u_eps = rng.uniform(0.005, 0.05)
        doubt = Doubt(0.05, 1.0, u_eps, 2.0, reflected_change_k=0.2, camera_gain=0.01)
        z = rng.standard_normal(7)
        change_k = room_k + doubt.reflected_change_k * z[0]
        before_k = float(apparent_temperature(start_k, Setting(eps, room_k)))
        now_k = float(apparent_temperature(start_k + truth_k, Setting(eps, change_k)))
        now_k += doubt.camera_k * z[1] + 0.05 * z[2] + 0.01 * z[3] * (now_k - before_k)
        before_k += doubt.camera_k * z[1] + 0.01 * z[4]
        stated = Setting(min(eps + u_eps * z[5], 1.0), room_k + doubt.reflected_k * z[6])
        found = read_rise(now_k, before_k, stated, doubt, baseline_noise_k=0.01)
        held += found.low_k <= truth_k <= found.high_k
    assert 0.93 <= held / trials <= 0.97


def test_usual_doubt_knows_metal_less() -> None:
    assert usual_doubt(Setting(0.2)).emissivity > usual_doubt(Setting(0.95)).emissivity
    assert usual_doubt(Setting(0.95), netd_k=0.03, accuracy_k=0.4).camera_k == 0.4
