"""The worked example: its board, its three stories, and the live source of them."""

from __future__ import annotations

import itertools
from dataclasses import replace

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from thermview.board import part_outline_px
from thermview.errors import SourceEndedError, UsageError
from thermview.frames import Frame, SupplyFeed
from thermview.simulation.scene import COLD_PACKAGE, FAULTY_CAPACITOR, STORIES, circuit, story
from thermview.simulation.story import Run, Story
from thermview.sources.simulated import SimulatedSource, open_simulated


def small(name: str) -> Story:
    told = story(name).sized(160, 120, 5.0)
    return replace(told, circuit=replace(told.circuit, cell_mm=1.0))  # coarse: quick


@pytest.fixture(scope="module")
def films() -> dict[str, list[Frame]]:
    return {name: list(Run(small(name), 1).frames()) for name in STORIES}


def rise(frames: list[Frame], at_s: float, over_s: float = 1.0) -> NDArray[np.float64]:
    base = np.mean([f.kelvin() for f in frames if f.time_s < 3.5], axis=0)
    then = [f.kelvin() for f in frames if at_s <= f.time_s < at_s + over_s]
    return np.asarray(np.mean(then, axis=0) - base)


def inside(of: Story, name: str, picture: NDArray[np.float64]) -> NDArray[np.float64]:
    outline = part_outline_px(of.circuit.parts[of.circuit.number(name)], of.view)
    u0, v0 = np.floor(outline.min(axis=0)).astype(int)
    u1, v1 = np.ceil(outline.max(axis=0)).astype(int)
    return picture[v0:v1, u0:u1]


def test_parts_lie_on_the_board_and_apart() -> None:
    parts = circuit().parts
    assert 65 <= len(parts) <= 75
    for part in parts:
        outline = part.outline_mm()
        assert (outline >= 0).all()
        assert (outline <= [120, 80]).all()
        assert part.nets
    for one, other in itertools.combinations(parts, 2):
        shared, _ = cv2.intersectConvexConvex(
            one.outline_mm().astype(np.float32), other.outline_mm().astype(np.float32)
        )
        assert shared < 1e-6, (one.designator, other.designator)


def test_every_story_says_that_it_is_simulated_and_begins_unpowered() -> None:
    for name in STORIES:
        told = story(name)
        assert "simulated" in told.title
        for time_s in np.arange(0.0, 3.9, 0.1):
            assert told.programme.terminals(time_s) == (0.0, 0.0)
            assert not told.programme.powers_w(time_s, told.circuit.places).any()
    with pytest.raises(UsageError, match="short, good, cold-drivers"):
        story("long")


def test_short_warms_its_capacitor_and_the_mirrored_hand_outshines_it(
    films: dict[str, list[Frame]],
) -> None:
    told, frames = small("short"), films["short"]
    late = rise(frames, 32.0)
    place = np.unravel_index(np.argmax(late), late.shape)
    outline = part_outline_px(told.circuit.parts[told.circuit.number(FAULTY_CAPACITOR)], told.view)
    assert np.hypot(*(outline.mean(axis=0) - [place[1] + 0.5, place[0] + 0.5])) < 1.5
    assert late.max() > 2.0
    mirrored = rise(frames, 26.5)
    can, fault = inside(told, "Y1", mirrored).max(), inside(told, FAULTY_CAPACITOR, mirrored).max()
    assert can > 2 * fault > 2.0
    powers = told.programme.powers_w(30.0, told.circuit.places)
    assert powers[told.circuit.number(FAULTY_CAPACITOR)] == pytest.approx(0.3**2 * 0.55)


def test_cold_package_stays_cold(films: dict[str, list[Frame]]) -> None:
    good, bad = rise(films["good"], 27.0), rise(films["cold-drivers"], 27.0)
    healthy = inside(small("good"), COLD_PACKAGE, good).max()
    cold = inside(small("cold-drivers"), COLD_PACKAGE, bad).max()
    assert healthy > 5.0
    assert cold < 0.1 * healthy
    assert inside(small("cold-drivers"), "U5", bad).max() > 5.0


def test_frames_hold_together(films: dict[str, list[Frame]]) -> None:
    for name, frames in films.items():
        times = np.array([f.time_s for f in frames])
        assert (np.diff(times) > 0).all()
        assert [f.index for f in frames] == list(range(len(frames)))
        assert times[-1] == pytest.approx(story(name).length_s, abs=0.3)
        assert sum(f.shutter for f in frames) in (2, 3)  # 0.4 s at 5 Hz
        assert all(f.shape == (120, 160) for f in frames)


def test_same_seed_same_run() -> None:
    short = replace(small("short"), length_s=1.0)
    one, two, other = (
        np.array([f.counts for f in Run(short, seed).frames()]) for seed in (5, 5, 6)
    )
    assert np.array_equal(one, two)
    assert not np.array_equal(one, other)


def test_board_loses_and_keeps_what_it_was_given() -> None:
    run = Run(replace(small("good"), length_s=8.0), 0)
    given, before = 0.0, 0.0
    for frame in run.frames():
        middles = np.arange(before + 0.0005, frame.time_s, 0.001)
        told = run.story
        given += sum(told.programme.powers_w(t, told.circuit.places).sum() for t in middles) / 1e3
        before = frame.time_s
    assert run.heat.energy_j + run.heat.lost_j == pytest.approx(given, rel=0.01)


class Clock:
    """A clock that sleeping moves on."""

    def __init__(self) -> None:
        self.now = 100.0
        self.slept: list[float] = []

    def __call__(self) -> float:
        return self.now

    def sleep(self, seconds: float) -> None:
        self.slept.append(seconds)
        self.now += seconds


def source(clock: Clock, **more: object) -> SimulatedSource:
    told = replace(story("short").sized(64, 48, 10.0), length_s=2.0)
    return SimulatedSource(told, clock=clock, sleep=clock.sleep, **more)  # type: ignore[arg-type]


def test_source_keeps_its_pace() -> None:
    clock = Clock()
    live = source(clock, speed=2.0)
    assert isinstance(live, SupplyFeed)
    frames = [live.read(1.0) for _ in range(20)]
    assert all(frames)
    assert clock.now - 100.0 == pytest.approx(1.9 / 2)
    assert len(live.take_supply()) == pytest.approx(20, abs=1)
    assert live.take_supply() == []
    with pytest.raises(SourceEndedError):
        live.read(1.0)


def test_source_waits_no_longer_than_asked() -> None:
    clock = Clock()
    live = source(clock)
    assert live.read(0.01) is not None
    assert live.read(0.03) is None
    assert clock.slept == [pytest.approx(0.03)]
    assert live.read(0.2) is not None


def test_slow_machine_gets_late_frames_and_no_burst() -> None:
    clock = Clock()
    live = source(clock)
    live.read(1.0)
    clock.now += 5.0  # the machine slept
    late = live.read(1.0)
    assert late is not None
    assert late.time_s == pytest.approx(0.1, abs=0.01)
    before = clock.now
    live.read(1.0)
    assert clock.now - before == pytest.approx(0.1)


def test_again_goes_on_without_end() -> None:
    live = source(Clock(), again=True, speed=float("inf"))
    times = [frame.time_s for _ in range(45) if (frame := live.read(1.0)) is not None]
    assert len(times) == 45
    assert (np.diff(times) > 0).all()


def test_closing_ends_it() -> None:
    live = open_simulated("good", seed=3, speed=4.0)
    assert live.info.simulated
    assert live.info.live
    assert live.info.address == "simulated:good"
    assert "U5" in live.placement_csv
    live.close()
    live.close()
    with pytest.raises(SourceEndedError):
        live.read(0.1)
    for speed in (0.0, -1.0, float("nan")):
        with pytest.raises(UsageError, match="speed"):
            source(Clock(), speed=speed)
