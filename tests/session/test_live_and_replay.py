"""Live and replay give the same marks, frame for frame, and the same curves."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from session_fakes import SCALE, Film, ScriptedSource, info_of, until

from thermview.frames import Frame, FrameFlag, Mark, MarkKind
from thermview.recording.reader import open_recording
from thermview.regions import Rectangle, Region, RegionSet, Spot
from thermview.session.session import Session
from thermview.session.states import EventKind
from thermview.session.triggers import TriggerRule, parse_trigger

REGIONS = RegionSet(
    (Region("U1", Spot(2, 2), id="1"), Region("U2", Rectangle(4, 1, 5, 5), emissivity=0.8, id="2"))
)
ZERO_AT = 30
RULES = (
    "U1 max above 28 C",
    "U1 mean below 26 C, hysteresis 0.5 K",
    "U2 max above 30 C for 0.2 s, hold-off 1 s",
    "U2 mean rise above 1 K",
    "U2 min rate above 0.8 K/s",
    "U1 max rate below -0.8 K/s, hold-off 2 s",
    "picture max above 29 C",
    "picture mean rise above 0.5 K for 0.1 s",
    "nobody max above 20 C",
)


def walk(seed: int, count: int = 220) -> list[Frame]:
    """Make a picture whose left and right half wander, with held frames and uneven times."""
    rng = np.random.default_rng(seed)
    halves = 300 + np.cumsum(rng.normal(0, 0.2, (count, 2)), axis=0)
    times = np.cumsum(rng.uniform(0.02, 0.08, count))
    frames = []
    for number in range(count):
        kelvin = np.repeat(halves[number], (4, 6))[None, :] + rng.normal(0, 0.03, (8, 10))
        counts = np.rint(kelvin / SCALE.k_per_count).astype(np.uint16)
        flags = FrameFlag.DAMAGED if rng.random() < 0.02 else FrameFlag.NONE
        shutter = bool(rng.random() < 0.02)
        frames.append(Frame(counts, float(times[number]), number, SCALE, shutter, flags))
    return frames


def live(frames: list[Frame], rules: list[TriggerRule]) -> Session:
    source = ScriptedSource(frames[:ZERO_AT], info_of(live=False))
    session = Session.live(source)
    session.set_regions(REGIONS)
    session.set_triggers(rules)
    session.start()
    until(lambda: session.latest() is frames[ZERO_AT - 1])
    session.zero_now(frames[ZERO_AT - 1].time_s)
    source.feed(*frames[ZERO_AT:])
    source.end()
    assert session.wait(20)
    assert session.wait_measured(20)
    return session


def replay(frames: list[Frame], rules: list[TriggerRule]) -> Session:
    session = Session.replay(Film(frames))
    session.set_regions(REGIONS)
    session.set_triggers(rules)
    session.start()
    assert session.wait_measured(20)
    session.zero_now(frames[ZERO_AT - 1].time_s)
    assert session.wait_measured(20)
    return session


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), texts=st.sets(st.sampled_from(RULES), min_size=1))
def test_random_rules_on_random_pictures(seed: int, texts: set[str]) -> None:
    frames, rules = walk(seed), [parse_trigger(text) for text in sorted(texts)]
    first, second = live(frames, rules), replay(frames, rules)
    assert first.marks == second.marks
    assert {m.time_s for m in first.marks} <= {f.time_s for f in frames}
    for region in REGIONS.regions:
        for column in (first.curves.column, second.curves.column):
            assert column(region.id, "max").shape == (len(frames),)
        np.testing.assert_array_equal(
            first.curves.rise(region.id, "mean"), second.curves.rise(region.id, "mean")
        )
    first.close()
    second.close()


def test_the_random_pictures_do_fire() -> None:
    """The test above would be empty without marks."""
    found = set()
    for seed in range(4):
        session = replay(walk(seed), [parse_trigger(text) for text in RULES])
        found |= {m.text for m in session.marks if m.kind is MarkKind.TRIGGER}
        session.close()
    assert len(found) >= 6


def test_a_spot_that_lights_up_is_marked_alike() -> None:
    rng = np.random.default_rng(4)
    frames = []
    for number in range(260):
        counts = np.rint(30000 + rng.normal(0, 4, (40, 48))).astype(np.uint16)
        counts[20:23, 30:33] += np.uint16(max(0, number - 200) * 10)
        frames.append(Frame(counts, number * 0.04, number, SCALE, shutter=number == 90))
    rules = [parse_trigger("picture departs by 6 sigma, hold-off 5 s")]
    source = ScriptedSource(frames, info_of((40, 48), live=False))
    first = Session.live(source)
    first.set_triggers(rules)
    first.start()
    source.end()
    assert first.wait(20)
    second = Session.replay(film := Film(frames))
    second.set_triggers(rules)
    second.start()
    assert second.wait_measured(20)
    marks = [m for m in first.marks if m.kind is MarkKind.TRIGGER]
    assert marks
    assert 8.0 < marks[0].time_s < 8.6
    assert "x 3" in marks[0].text
    assert first.marks == second.marks
    reads = film.reads
    second.set_regions(RegionSet((Region("U1", Spot(1, 1)),)))
    assert second.wait_measured(20)
    assert second.marks == first.marks
    assert film.reads == reads + len(frames), "what departed is known; only the region is measured"
    first.close()
    second.close()


def test_other_rules_take_the_place_of_the_marks_of_the_old() -> None:
    frames = walk(1)
    session = replay(frames, [parse_trigger("U1 max above 28 C")])
    own = session.add_mark(MarkKind.NOTE, 1.0, "mine")
    session.set_triggers([])
    assert session.wait_measured(20)
    assert [m.kind for m in session.marks] == [MarkKind.NOTE, MarkKind.ZERO]
    session.remove_mark(own)
    assert [m.kind for m in session.marks] == [MarkKind.ZERO]
    session.close()


def heating(count: int = 100) -> list[Frame]:
    """Warm by 0.1 K a frame from 20 °C; frame n is the first beyond 20 °C + n/10 − 0.05 K."""
    return [
        Frame(np.full((8, 10), 29315 + 10 * n, np.uint16), n * 0.04, n, SCALE) for n in range(count)
    ]


def test_a_trigger_records_from_before_and_stops(tmp_path: Path) -> None:
    source = ScriptedSource(info=info_of(live=False))
    session = Session.live(source)
    session.set_regions(REGIONS)
    session.set_triggers(
        [
            parse_trigger("U1 max above 24.95 C then mark, start recording, still, tone"),
            parse_trigger("U1 max above 27.95 C then mark, stop recording"),
        ]
    )
    session.set_recording_place(lambda: tmp_path / "a.h5", pre_trigger_s=0.4)
    session.start()
    source.feed(*heating())
    source.end()
    assert session.wait(20)
    assert session.stop_recording() is None
    summary = session.last_recording
    assert summary is not None
    assert (summary.frames, summary.dropped) == (41, 0)
    events = session.take_events()
    session.close()
    with open_recording(tmp_path / "a.h5") as film:
        assert film.times_s[0] == pytest.approx(50 * 0.04 - 0.4)
        assert film.times_s[-1] == pytest.approx(80 * 0.04)
        kinds = [(m.kind, round(m.time_s / 0.04)) for m in film.marks]
        assert kinds == [(MarkKind.TRIGGER, 50), (MarkKind.TRIGGER, 80)]
    still = next(e for e in events if e.kind is EventKind.STILL)
    assert isinstance(still.data, Frame)
    assert still.data.index == 50
    fired = [e.data for e in events if e.kind is EventKind.TRIGGER]
    assert all(isinstance(mark, Mark) for mark in fired)
    assert len(fired) == 2
    assert sum(e.kind is EventKind.TONE for e in events) == 1


def test_a_trigger_that_cannot_record_says_so(tmp_path: Path) -> None:
    (tmp_path / "a.h5").write_bytes(b"mine")
    for place in (None, tmp_path / "a.h5"):
        source = ScriptedSource(heating(), info_of(live=False))
        session = Session.live(source)
        session.set_regions(REGIONS)
        session.set_triggers([parse_trigger("U1 max above 24 C then start recording")])
        if place is not None:
            session.set_recording_place(lambda: tmp_path / "a.h5")
        session.start()
        source.end()
        assert session.wait(20)
        assert any(e.kind is EventKind.WARNING for e in session.take_events())
        assert len(session.footage) == 100, "the frames go on"
        assert session.marks == ()
        session.close()
    assert (tmp_path / "a.h5").read_bytes() == b"mine"


def test_a_region_drawn_anew_over_heat_has_crossed_nothing() -> None:
    source = ScriptedSource(info=info_of(live=False))
    session = Session.live(source)
    cold, hot = Region("U1", Spot(1, 1), id="1"), Region("U1", Spot(8, 1), id="1")
    session.set_regions(RegionSet((cold,)))
    session.set_triggers([parse_trigger("U1 max above 50 C")])
    session.start()
    counts = np.full((8, 10), 29315, np.uint16)
    counts[:, 5:] = 36000
    frames = [Frame(counts.copy(), n * 0.04, n, SCALE) for n in range(20)]
    source.feed(*frames[:10])
    until(lambda: session.latest() is frames[9])
    session.set_regions(RegionSet((hot,)))
    source.feed(*frames[10:])
    source.end()
    assert session.wait(20)
    assert session.marks == ()
    session.close()
