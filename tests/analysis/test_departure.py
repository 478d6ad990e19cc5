"""What departs is found where it is; noise and drift are not taken for it."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest
from numpy.typing import NDArray

from thermview.analysis.departure import Departure, DepartureWatch
from thermview.frames import Frame, Scale

Picture = NDArray[np.float64]
SCALE = Scale(0.01)
NOISE_K = 0.05


def film(
    seed: int, frames: int, rate_hz: float, size: tuple[int, int], drift: bool = True
) -> Iterator[tuple[float, Picture]]:
    """Yield times and pictures, K: noise, a camera's fixed pattern, drift common and uneven."""
    random = np.random.default_rng(seed)
    pattern = 296 + random.normal(0, 2, size)
    uneven = np.linspace(0, 1, size[1]) * np.linspace(1, 0.5, size[0])[:, None]
    for n in range(frames):
        time_s = n / rate_hz
        picture = pattern + NOISE_K * random.standard_normal(size)
        if drift:
            picture += 0.5 * np.sin(time_s / 40) + 0.002 * time_s * uneven
        yield time_s, picture


def watched(
    watch: DepartureWatch,
    time_s: float,
    picture: Picture,
    shutter: bool = False,
) -> Departure | None:
    counts = np.rint(picture / SCALE.k_per_count).astype(np.uint16)
    return watch.take(Frame(counts, time_s, round(time_s * 1000), SCALE, shutter))


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("sign", [1, -1])
def test_small_weak_step_is_found_wherever_it_is(seed: int, sign: int) -> None:
    """0.3 K on 3 x 3 px at 50 mK noise, within three frames, to a pixel."""
    row, column = (int(v) for v in np.random.default_rng(seed + 100).integers(1, 36, 2))
    watch, found = DepartureWatch(), []
    for time_s, picture in film(seed, 350, 25, (40, 48)):
        if time_s >= 10:
            picture[row : row + 3, column : column + 3] += 0.3 * sign
        departure = watched(watch, time_s, picture)
        found += [(time_s, departure)] if departure else []
    assert len(found) == 1
    time_s, departure = found[0]
    assert departure.since_s == 10.0
    assert time_s <= 10.3
    assert (departure.x_px, departure.y_px) == pytest.approx((column + 1.5, row + 1.5), abs=1.0)
    assert departure.change_k * sign == pytest.approx(0.3 * 9 / 16, abs=0.06)


def test_slow_departure_is_found() -> None:
    """A part that begins to warm at 0.1 K/s leaves its own trend too."""
    watch, found = DepartureWatch(), []
    for time_s, picture in film(3, 600, 25, (40, 48)):
        picture[10:16, 20:26] += 0.1 * max(time_s - 10, 0)
        found += [time_s] if watched(watch, time_s, picture) else []
    assert found
    assert 10 < found[0] < 13


def test_steady_warming_is_its_own_trend() -> None:
    watch = DepartureWatch()
    for time_s, picture in film(4, 750, 25, (40, 48)):
        picture[10:16, 20:26] += 0.2 * time_s
        assert watched(watch, time_s, picture) is None


def test_shutter_event_is_no_departure() -> None:
    """While the shutter is shut frames are held; afterwards the pattern is another."""
    watch = DepartureWatch()
    changed = np.random.default_rng(8).normal(0, 0.1, (40, 48))
    for time_s, picture in film(5, 600, 25, (40, 48)):
        shut = 10 <= time_s < 10.5
        after = changed if time_s >= 10.5 else 0.0
        assert watched(watch, time_s, picture + after, shut) is None


def test_gap_is_learnt_anew_and_flashes_are_too_short() -> None:
    watch = DepartureWatch()
    for time_s, picture in film(6, 500, 25, (40, 48)):
        late = time_s + (100 if time_s > 10 else 0)
        if time_s > 10:
            picture[5:9, 5:9] += 2
        if round(time_s * 25) % 40 < 2:
            picture[20:24, 30:34] += 5  # two frames: one too few
        assert watched(watch, late, picture) is None


def test_duration() -> None:
    watch, found = DepartureWatch(duration_s=0.5), []
    for time_s, picture in film(7, 500, 25, (40, 48)):
        if 8 <= time_s < 8.4 or time_s >= 12:
            picture[20:24, 30:34] += 2
        found += [time_s] if watched(watch, time_s, picture) else []
    assert found == [pytest.approx(12.5, abs=0.05)]


def test_steady_counts_are_no_departure() -> None:
    """A source without noise: rounding steps by one count are not five sigma of nothing."""
    watch = DepartureWatch()
    for n in range(400):
        counts = np.full((40, 48), 29600, np.uint16)
        assert watch.take(Frame(counts, n / 25, n, SCALE)) is None


def test_float_frames_with_pixels_lacking() -> None:
    watch, found = DepartureWatch(), []
    for time_s, picture in film(9, 350, 25, (40, 48)):
        if time_s >= 10:
            picture[20:23, 30:33] += 0.3
        kelvin = (picture - 296).astype(np.float32)
        kelvin[5, 5] = np.nan
        departure = watch.take(Frame(kelvin, time_s, 0, Scale(1.0, 296.0)))
        found += [departure] if departure else []
    assert len(found) == 1
    assert found[0].x_px == pytest.approx(31.5, abs=1)


def false_alarms(seed: int, minutes: float, rate_hz: float, size: tuple[int, int]) -> int:
    watch = DepartureWatch()
    frames = round(minutes * 60 * rate_hz)
    return sum(watched(watch, t, p) is not None for t, p in film(seed, frames, rate_hz, size))


def test_noise_and_drift_do_not_fire() -> None:
    assert false_alarms(1, minutes=5, rate_hz=9, size=(48, 64)) == 0


@pytest.mark.slow
@pytest.mark.parametrize("rate_hz", [9, 25])
def test_noise_and_drift_do_not_fire_in_an_hour(rate_hz: float) -> None:
    """At default settings: 160 x 120 px, one hour, 50 mK, common and uneven drift."""
    assert false_alarms(2, minutes=60, rate_hz=rate_hz, size=(120, 160)) == 0
