"""The pulse test: is the period found in the pictures, and does the limit come as forecast?

    python benchmarks/bench_pulse.py [--seeds 3000-3010]

Pulses of 1 to 2.5 mW for 40 s on the random boards of two generators (`hard_cases`,
`simulation.trials`); and hands that wave over boards without pulses, where no period is to be
found. For the forecast the test looks at a third of each recording, says which power will show at
its end, and what shows then is compared. Shown is also whether the part's own amplitude is three
times the noise or more where its power is above the limit. All of it is simulated.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from dataclasses import dataclass

import hard_cases
import numpy as np
from numpy.typing import NDArray

from thermview.analysis.period import find_period
from thermview.analysis.prepare import Shots
from thermview.analysis.stabilise import steady
from thermview.board import Landmark, fit_homography, part_outline_px
from thermview.frames import Frame, Scale
from thermview.regions import Polygon, pixel_indices
from thermview.session.finding import Window
from thermview.session.pulsing import PulseTest, later_power_w
from thermview.simulation.story import Story
from thermview.simulation.supply import FedRail
from thermview.simulation.trials import Film, film, random_story

Floats = NDArray[np.float64]
EARLY = 1 / 3
LOOKS = (0.5, 0.6, 0.8, 1.0)
PERIOD_OFF = 0.02
"""So near is right: within forty seconds a test at such a period is out by half a turn at most."""


@dataclass(frozen=True)
class Recording:
    """Pictures of a board, and what is true of it; `corners_px` are the culprit's."""

    counts: NDArray[np.uint16]
    times_s: Floats
    held: NDArray[np.bool_]
    scale: Scale
    period_s: float | None
    on_s: float
    power_w: float
    corners_px: tuple[tuple[float, float], ...]

    first = 0

    def frame(self, number: int) -> Frame:
        """Return a frame, as footage does."""
        held = bool(self.held[number])
        return Frame(self.counts[number], float(self.times_s[number]), number, self.scale, held)


def of_case(kind: str, seed: int) -> Recording:
    """Return a hard case."""
    case = hard_cases.generate(kind, seed)
    same = (case.counts[1:, ::4, ::4] == case.counts[:-1, ::4, ::4]).mean(axis=(1, 2)) > 0.9
    corners: tuple[tuple[float, float], ...] = ()
    if case.culprit is not None:
        view = fit_homography([Landmark(mm, px) for mm, px in case.landmarks])
        part = next(p for p in case.parts if p.ref == case.culprit)
        half = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)]) * [part.w / 2, part.h / 2]
        outline = view.board_to_pixel(half + np.array([part.x, part.y]))
        corners = tuple((float(x), float(y)) for x, y in outline)
    return Recording(
        case.counts,
        case.time_s,
        np.concatenate([[False], same]),
        Scale(hard_cases.K_PER_COUNT),
        case.period_s,
        case.on_s,
        case.power_w,
        corners,
    )


def of_trial(kind: str, seed: int) -> Recording:
    """Return a trial."""
    story: Story = random_story(seed, kind)
    shown: Film = film(story, seed)
    programme, truth = story.programme, story.truth
    period_s = programme.supply.period_s if isinstance(programme, FedRail) else None
    view = fit_homography(list(shown.landmarks))
    part = next((p for p in shown.parts if p.designator == truth.part), None)
    outline = part_outline_px(part, view) if part is not None else np.zeros((0, 2))
    return Recording(
        shown.counts,
        shown.times_s,
        shown.shutter,
        shown.scale,
        period_s,
        truth.power_on_s or 0.0,
        truth.power_w or 0.0,
        tuple((float(x), float(y)) for x, y in outline),
    )


def period_of(one: Recording) -> float | None:
    """Return the period that the pictures tell."""
    good = ~one.held
    segment = np.cumsum(one.held)[good]
    kelvin = one.counts[good].astype(np.float32) * np.float32(one.scale.k_per_count)
    take, _ = steady(Shots(kelvin, one.times_s[good], np.unique(segment, return_inverse=True)[1]))
    found = find_period(take)
    return None if found is None else found.period_s


@dataclass(frozen=True)
class Limits:
    """What the test says early of the end, what it says then, and how the part shows."""

    forecast_w: float
    limit_w: float
    power_w: float
    snr: float


def limits(one: Recording) -> Limits:
    """Run a pulse test over a recording in two goes."""
    assert one.period_s is not None
    end_s = float(one.times_s[-1])
    test = PulseTest(Window(0.0, end_s, one.on_s, one.period_s, marked=True))
    early_s = one.on_s + EARLY * (end_s - one.on_s)
    for share in LOOKS:
        until_s = one.on_s + share * (early_s - one.on_s)
        early = test.advance(one, until_s, lambda done, total: None)  # type: ignore[arg-type]
    late = test.advance(one, end_s, lambda done, total: None)  # type: ignore[arg-type]
    assert early is not None
    assert late is not None
    amplitude_k, noise_k = late.harmonic.amplitude_k, late.harmonic.noise_k
    shape = (int(amplitude_k.shape[0]), int(amplitude_k.shape[1]))
    inside = pixel_indices(Polygon(one.corners_px), shape)
    snr = (amplitude_k / noise_k).ravel()[inside].max() if inside.size else np.nan
    forecast_w = later_power_w(early, late.span_s - early.span_s)
    return Limits(forecast_w, late.least_w, one.power_w, float(snr))


def main() -> None:
    """Print both tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", default="3000-3010", help="from-to, the last left out")
    first, last = (int(word) for word in parser.parse_args().seeds.split("-"))
    makers: list[tuple[str, Callable[[str, int], Recording], tuple[str, ...]]] = [
        ("hard", of_case, ("quiet-hand", "mirror")),
        ("trial", of_trial, ("quiet", "mirror")),
    ]
    for name, of, calm in makers:
        right, seen = 0, []
        for seed in range(first, last):
            one = of("pulsed", seed)
            assert one.period_s is not None
            told_s = period_of(one)
            right += told_s is not None and abs(told_s / one.period_s - 1) < PERIOD_OFF
            seen.append(limits(one))
        false = sum(
            period_of(of(kind, seed)) is not None for kind in calm for seed in range(first, last)
        )
        count = last - first
        print(f"{name:6} period right {right} of {count}; falsely one {false} of {2 * count}")
        ratio = np.array([s.limit_w / s.forecast_w for s in seen])
        above = [s for s in seen if s.power_w > s.limit_w]
        shows = sum(s.snr > 3.0 for s in above)
        at_limit = np.array([s.snr * s.limit_w / s.power_w for s in seen])
        print(
            f"       limit at the end over what was forecast: {np.median(ratio):.2f} (median), "
            f"{ratio.min():.2f} to {ratio.max():.2f}; powers above it that show: {shows} of "
            f"{len(above)}; at the limit a part stands {np.median(at_limit):.1f} noises high "
            "(median)",
            flush=True,
        )


if __name__ == "__main__":
    main()
