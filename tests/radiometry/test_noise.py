"""Noise, bad pixels and averaging, measured on noise of known size."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from thermview.errors import UsageError
from thermview.frames import Frame, FrameFlag, Scale
from thermview.radiometry.averaging import GatedAverage
from thermview.radiometry.bad_pixels import BadPixelRepair, find_bad_pixels
from thermview.radiometry.noise import NoiseMeter, measure_noise

SCALE = Scale(0.01)
SHAPE = (40, 50)
RATE_HZ = 25.0
NETD_K = 0.05


def _still(
    count: int = 100, *, drift_k_per_min: float = 0.0, pattern_k: float = 0.0, seed: int = 1
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    rng = np.random.default_rng(seed)
    times_s = np.arange(count) / RATE_HZ
    kelvin = 300.0 + NETD_K * rng.standard_normal((count, *SHAPE))
    kelvin += (drift_k_per_min * times_s / 60.0)[:, None, None]
    kelvin += pattern_k * rng.standard_normal(SHAPE)
    return kelvin, times_s


def _counts(kelvin: NDArray[np.float64]) -> NDArray[np.uint16]:
    return np.round(kelvin / SCALE.k_per_count).astype(np.uint16)


def test_netd_of_white_noise() -> None:
    kelvin, times_s = _still()
    report = measure_noise(_counts(kelvin), times_s, SCALE)
    expected = np.hypot(NETD_K, SCALE.k_per_count / np.sqrt(12))  # rounding to counts adds its own
    assert report.netd_k == pytest.approx(expected, rel=0.01)
    assert report.per_pixel_k.shape == SHAPE
    assert report.frames == 100
    # of 100 samples: relative scatter 1/√(2·98)
    assert report.per_pixel_k.std() / expected == pytest.approx(1 / np.sqrt(196), rel=0.15)


def test_drift_is_removed_and_reported() -> None:
    kelvin, times_s = _still(drift_k_per_min=6.0)
    kelvin += 0.3 * (np.indices(SHAPE)[1] / SHAPE[1]) * (times_s / 4.0)[:, None, None]
    report = measure_noise(_counts(kelvin), times_s, SCALE)
    assert report.netd_k == pytest.approx(NETD_K, rel=0.03)
    assert report.drift_k_per_min == pytest.approx(6.0 + 0.15 * 15, rel=0.03)
    assert report.common_k < 0.01


def test_outliers_do_not_count() -> None:
    kelvin, times_s = _still()
    kelvin[40:43] += 3.0 * (np.indices(SHAPE)[0] < 15)  # a hand over a part of the picture
    for stack, scale in ((_counts(kelvin), SCALE), (kelvin.astype(np.float32), Scale(1.0))):
        report = measure_noise(stack, times_s, scale)
        assert float(np.median(report.per_pixel_k[:15])) == pytest.approx(NETD_K, rel=0.1)


def test_coarse_counts_do_not_hide_the_noise() -> None:
    kelvin, times_s = _still(200)
    coarse = Scale(0.04)
    counts = np.round(kelvin / coarse.k_per_count).astype(np.uint16)
    report = measure_noise(counts, times_s, coarse)
    assert report.netd_k == pytest.approx(np.hypot(NETD_K, 0.04 / np.sqrt(12)), rel=0.03)


def test_fixed_pattern() -> None:
    kelvin, times_s = _still(pattern_k=0.4)
    kelvin += 5.0 * np.indices(SHAPE)[0] / SHAPE[0]  # a slow shade is no pattern
    report = measure_noise(kelvin.astype(np.float32), times_s, Scale(1.0))
    assert report.fixed_pattern_k == pytest.approx(0.4, rel=0.06)


def test_white_noise_falls_with_the_root_of_frames() -> None:
    kelvin, times_s = _still(256)
    report = measure_noise(kelvin.astype(np.float32), times_s, Scale(1.0))
    assert report.noise_of_mean_k(1) == pytest.approx(NETD_K, rel=0.02)
    assert report.noise_of_mean_k(16) == pytest.approx(NETD_K / 4, rel=0.05)
    assert report.noise_of_mean_k(4, pixels=9) == pytest.approx(NETD_K / 6, rel=0.05)
    # three deviations of now (1 frame) and baseline (16)
    expected = 3 * NETD_K * np.hypot(1, 0.25)
    assert report.smallest_rise_k(frames=1, baseline_frames=16) == pytest.approx(expected, rel=0.03)


def test_slow_noise_has_a_floor() -> None:
    rng = np.random.default_rng(3)
    kelvin, times_s = _still(256)
    kelvin += np.cumsum(0.01 * rng.standard_normal((256, *SHAPE)), axis=0)  # each pixel wanders
    report = measure_noise(kelvin.astype(np.float32), times_s, Scale(1.0))
    assert report.knee_frames <= 16
    long = report.noise_of_mean_k(200)
    assert long == report.noise_of_mean_k(report.knee_frames)
    assert long > 1.5 * NETD_K / np.sqrt(200)


def test_pixels_without_values_are_no_trouble() -> None:
    kelvin, times_s = _still(40)
    kelvin[:, 3, 4] = np.nan
    report = measure_noise(kelvin.astype(np.float32), times_s, Scale(1.0))
    assert report.netd_k == pytest.approx(NETD_K, rel=0.03)
    assert np.isnan(report.per_pixel_k[3, 4])
    assert np.isfinite(report.averaged_k).all()


def test_meter_leaves_out_held_and_repeated_frames() -> None:
    kelvin, times_s = _still(40)
    counts = _counts(kelvin)
    meter = NoiseMeter(30)
    for number, (picture, time_s) in enumerate(zip(counts, times_s, strict=True)):
        frame = Frame(picture, float(time_s), number, SCALE)
        meter.take(frame)
        meter.take(frame)
        meter.take(Frame(picture + 100, float(time_s), number, SCALE, shutter=True))
        meter.take(Frame(picture + 100, float(time_s), number, SCALE, flags=FrameFlag.DAMAGED))
    assert meter.done
    report = meter.report()
    assert report.frames == 30
    assert report.netd_k == pytest.approx(NETD_K, rel=0.03)


def test_too_few_frames_are_refused() -> None:
    with pytest.raises(UsageError, match="no still frames"):
        NoiseMeter().report()
    kelvin, times_s = _still(5)
    with pytest.raises(UsageError, match="16 still frames or more, not 5"):
        measure_noise(_counts(kelvin), times_s, SCALE)


def test_bad_pixels_are_found_and_only_they() -> None:
    rng = np.random.default_rng(2)
    noise_k = NETD_K * (1 + 0.07 * rng.standard_normal(SHAPE))
    mean_k = 300.0 + 0.05 * rng.standard_normal(SHAPE)
    y, x = np.indices(SHAPE)
    for row, column, sigma in (
        (10, 10, 0.7),
        (30, 33, 1.5),
    ):  # small hot parts, as a lens shows them
        mean_k += 12.0 * np.exp(-((x - column) ** 2 + (y - row) ** 2) / (2 * sigma**2))
    mean_k[:, 40:] += 15.0  # an edge
    leads = np.zeros(SHAPE)
    leads[12:30, 3] = -5.0  # a row of leads, one pixel wide before the lens
    mean_k += gaussian_filter(leads, 0.6)
    bad = np.zeros(SHAPE, dtype=np.bool_)
    for row, column in ((5, 5), (5, 6), (20, 20), (0, 0), (39, 25)):
        bad[row, column] = True
    mean_k[5, 5] += 30.0
    noise_k[5, 6] = 0.0
    noise_k[20, 20] *= 20.0
    mean_k[0, 0] = np.nan
    mean_k[39, 25] -= 4.0
    np.testing.assert_array_equal(find_bad_pixels(mean_k, noise_k), bad)


@pytest.mark.parametrize("dtype", [np.uint16, np.float32])
def test_repair_fills_from_good_neighbours(dtype: type[np.uint16] | type[np.float32]) -> None:
    counts = (30_000 + 10 * np.indices(SHAPE)[1]).astype(dtype)
    mask = np.zeros(SHAPE, dtype=np.bool_)
    mask[10:13, 10:13] = mask[0, 0] = True
    broken = counts.copy()
    broken[mask] = 0
    repair = BadPixelRepair(mask)
    fixed = repair.repair(broken)
    assert fixed.dtype == dtype
    np.testing.assert_array_equal(fixed[~mask], counts[~mask])
    assert np.abs(fixed[mask].astype(float) - counts[mask].astype(float)).max() <= 20
    assert (broken[mask] == 0).all()
    assert not repair.mask.flags.writeable


def test_repair_of_nothing_and_of_everything() -> None:
    counts = np.zeros(SHAPE, dtype=np.uint16)
    assert BadPixelRepair(np.zeros(SHAPE, dtype=np.bool_)).repair(counts) is counts
    with pytest.raises(UsageError, match="every pixel"):
        BadPixelRepair(np.ones(SHAPE, dtype=np.bool_))


@pytest.mark.parametrize("frames", [4, 16, 64])
def test_still_noise_falls_as_expected(frames: int) -> None:
    rng = np.random.default_rng(7)
    average = GatedAverage(NETD_K, frames)
    for _ in range(4 * frames):
        mean = average.take(300.0 + NETD_K * rng.standard_normal((100, 100)))
    # 1/√N: what a plain mean of so many frames has
    assert float(mean.std()) == pytest.approx(NETD_K / np.sqrt(frames), rel=0.06)
    assert average.noise_k is not None
    assert float(np.median(average.noise_k)) == pytest.approx(NETD_K / np.sqrt(frames), rel=0.02)


@pytest.mark.parametrize("step_netd", [3.0, 8.0, 100.0])
def test_a_step_passes_at_once(step_netd: float) -> None:
    rng = np.random.default_rng(8)
    average = GatedAverage(NETD_K, 32)
    level = np.full((60, 60), 300.0)
    for _ in range(80):
        average.take(level + NETD_K * rng.standard_normal(level.shape))
    level[20:40, 20:40] += step_netd * NETD_K
    first = average.take(level + NETD_K * rng.standard_normal(level.shape))
    inside = first[22:38, 22:38].mean() - 300.0
    assert inside == pytest.approx(step_netd * NETD_K, rel=0.05)
    assert abs(first[:18].mean() - 300.0) < 0.1 * NETD_K
    # and the still pixels far from it keep their low noise
    assert float(first[:17].std()) < 1.1 * NETD_K / np.sqrt(32)


def test_missing_pixels_keep_their_mean() -> None:
    average = GatedAverage(0.05, 8)
    average.take(np.full((5, 5), 300.0))
    hole = np.full((5, 5), 300.0)
    hole[2, 2] = np.nan
    assert average.take(hole)[2, 2] == 300.0
    average.restart()
    assert average.noise_k is None
    assert np.isnan(average.take(hole)[2, 2])
    assert average.take(np.full((5, 5), 301.0))[2, 2] == 301.0


@pytest.mark.parametrize(("noise_k", "frames"), [(0.0, 4), (float("nan"), 4), (0.05, 0)])
def test_senseless_averages_are_refused(noise_k: float, frames: int) -> None:
    with pytest.raises(UsageError):
        GatedAverage(noise_k, frames)
