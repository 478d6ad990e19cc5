"""Comparison on recordings that another program made; what was wrong stands in its truth.json."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from skimage.transform import ProjectiveTransform

from thermview.analysis.pair.compare import Comparison, compare_boards
from thermview.analysis.pair.places import Match, compare_places, pixel_of
from thermview.analysis.pair.plane import mapped
from thermview.analysis.pair.verdict import Limits
from thermview.board import Landmark, Part, load_landmarks, load_placement
from thermview.errors import InputError
from thermview.frames import Footage, Frame, Mark, Scale, SourceInfo, SupplyLog
from thermview.recording.reader import open_recording
from thermview.regions import Rectangle, Region, RegionSet

Floats = NDArray[np.float64]


class Changed:
    """Footage whose frames went through a function of the picture."""

    def __init__(
        self,
        footage: Footage,
        change: Callable[[NDArray[np.float32]], NDArray[Any]] = lambda p: p,
        *,
        skip: int = 0,
    ) -> None:
        pictures = [footage.frame(n).counts.astype(np.float32) for n in range(skip, len(footage))]
        self._pictures = [np.ascontiguousarray(change(p), dtype=np.float32) for p in pictures]
        self.times_s = footage.times_s[skip:] - footage.times_s[skip]
        rows, columns = self._pictures[0].shape
        self.info = SourceInfo(
            "changed", "", columns, rows, Scale(footage.info.scale.k_per_count), False,
            footage.info.start_time,
        )  # fmt: skip
        self.first = 0
        self.supply: SupplyLog | None = None
        self.marks: tuple[Mark, ...] = ()

    def __len__(self) -> int:
        return len(self._pictures)

    def frame(self, number: int) -> Frame:
        return Frame(self._pictures[number], float(self.times_s[number]), number, self.info.scale)

    def close(self) -> None:
        pass


@dataclass
class Pair:
    good: Footage
    bad: Footage
    parts: tuple[Part, ...]
    marks_good: tuple[Landmark, ...]
    marks_bad: tuple[Landmark, ...]
    colder: set[str]

    def compare(self, bad: Footage | None = None, marks: object = None) -> Comparison:
        marks_bad = self.marks_bad if marks is None else marks
        assert isinstance(marks_bad, tuple)
        return compare_boards(self.good, bad or self.bad, self.parts, (self.marks_good, marks_bad))


@pytest.fixture(scope="module")
def pair(samples: Path) -> Pair:
    return Pair(
        open_recording(samples / "pair-good.h5"),
        open_recording(samples / "pair-bad.h5"),
        load_placement(samples / "pair-bad.parts.csv"),
        load_landmarks(samples / "pair-good.landmarks.json"),
        load_landmarks(samples / "pair-bad.landmarks.json"),
        set(json.loads((samples / "truth.json").read_text())["pair"]["colder"]),
    )


@pytest.fixture(scope="module")
def found(pair: Pair) -> Comparison:
    return pair.compare()


def accused(comparison: Comparison) -> dict[str, str]:
    return {
        one.name: one.verdict for one in comparison.subjects if one.verdict in ("colder", "hotter")
    }


def moved(marks: tuple[Landmark, ...], matrix: Floats) -> tuple[Landmark, ...]:
    there = mapped(matrix, np.array([m.pixel for m in marks]))
    return tuple(
        Landmark(m.board_mm, (float(u), float(v))) for m, (u, v) in zip(marks, there, strict=True)
    )


def test_the_cold_parts_and_no_others(pair: Pair, found: Comparison) -> None:
    assert accused(found) == dict.fromkeys(pair.colder, "colder")
    assert {one.name for one in found.ranked()[: len(pair.colder)]} == pair.colder
    undecided = [o for o in found.subjects if o.verdict in ("unreadable", "out of view")]
    assert all(o.power_good_w < 0.01 for o in undecided)
    assert found.until_s > 30


@pytest.mark.slow
def test_a_board_against_itself_is_alike(pair: Pair) -> None:
    same = compare_boards(pair.good, pair.good, pair.parts, (pair.marks_good, pair.marks_good))
    assert accused(same) == {}
    assert same.level == pytest.approx(1.0)
    for one in same.subjects:
        assert one.power_bad_w == pytest.approx(one.power_good_w, rel=1e-3, abs=1e-5)


def test_verdicts_stay_when_the_second_is_turned_a_quarter(pair: Pair, found: Comparison) -> None:
    width = pair.bad.info.width_px
    turn = np.array([[0.0, 1.0, 0.0], [-1.0, 0.0, width], [0.0, 0.0, 1.0]])
    turned = Changed(pair.bad, np.rot90)
    again = pair.compare(turned, moved(pair.marks_bad, turn))
    assert [o.verdict for o in again.subjects] == [o.verdict for o in found.subjects]


@pytest.mark.slow
def test_verdicts_stay_when_the_second_is_scaled(pair: Pair, found: Comparison) -> None:
    scaled = Changed(
        pair.bad, lambda p: cv2.resize(p, None, fx=1.5, fy=1.5, interpolation=cv2.INTER_CUBIC)
    )
    again = pair.compare(scaled, moved(pair.marks_bad, np.diag([1.5, 1.5, 1.0])))
    assert accused(again) == accused(found)


def test_verdicts_stay_when_the_second_started_later(pair: Pair, found: Comparison) -> None:
    skip = int(np.searchsorted(pair.bad.times_s, 2.4))
    again = pair.compare(Changed(pair.bad, skip=skip))
    # two frames
    assert again.on_s[1] == pytest.approx(found.on_s[1] - pair.bad.times_s[skip], abs=0.32)
    assert accused(again) == accused(found)


@pytest.mark.slow
def test_landmarks_half_a_millimetre_off_come_to_the_same_view(
    pair: Pair, found: Comparison
) -> None:
    """Refinement takes out most of what clicked landmarks are off, on both boards."""
    rng = np.random.default_rng(5)
    jolted = tuple(
        Landmark(m.board_mm, (m.pixel[0] + float(du), m.pixel[1] + float(dv)))
        for m, (du, dv) in zip(
            pair.marks_bad, rng.normal(0, 0.35 / found.aligned[1].view.mm_per_px, (5, 2)),
            strict=True,
        )
    )  # fmt: skip
    again = pair.compare(marks=jolted)
    places = np.array([[p.x_mm, p.y_mm] for p in pair.parts])
    view, other = found.aligned[1].view, again.aligned[1].view
    apart = np.linalg.norm(mapped(view.matrix, places) - mapped(other.matrix, places), axis=1)
    assert float(np.sqrt(np.mean(apart**2))) * view.mm_per_px < 0.2
    assert accused(again) == accused(found)


@pytest.mark.slow
def test_refined_views_follow_a_known_projective_transform(pair: Pair, found: Comparison) -> None:
    """The picture goes through scikit-image's transform; the refined view must go with it."""
    known = ProjectiveTransform(
        np.array([[1.02, 0.03, 1.5], [-0.02, 0.99, 2.0], [1e-4, -5e-5, 1.0]])
    )
    matrix = np.asarray(known.params, dtype=np.float64)
    half = np.array([[1, 0, 0.5], [0, 1, 0.5], [0, 0, 1.0]])
    pixels = np.linalg.inv(half) @ matrix @ half
    size = (pair.bad.info.width_px, pair.bad.info.height_px)
    warped = Changed(
        pair.bad,
        lambda p: cv2.warpPerspective(
            p, pixels, size, flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE
        ),
    )
    again = pair.compare(warped, moved(pair.marks_bad, matrix))
    places = np.array([[p.x_mm, p.y_mm] for p in pair.parts])
    wanted = known(mapped(found.aligned[1].view.matrix, places))
    got = mapped(again.aligned[1].view.matrix, places)
    assert float(np.sqrt(np.mean(np.sum((wanted - got) ** 2, axis=1)))) < 0.2  # px


def test_by_places_with_matching_points(pair: Pair) -> None:
    matching = [(g.pixel, b.pixel) for g, b in zip(pair.marks_good, pair.marks_bad, strict=True)]
    comparison = compare_places(pair.good, pair.bad, matching)
    cold = [o for o in comparison.subjects if o.verdict == "colder"]
    truth = [p for p in pair.parts if p.designator in pair.colder]
    view = compare_view(pair)
    for part in truth:
        u, v = mapped(view, np.array([part.x_mm, part.y_mm]))
        places = [pixel_of(comparison, one.x_mm, one.y_mm) for one in cold]
        near = [place for place in places if np.hypot(place[0] - u, place[1] - v) < 4]
        assert near, part.designator
    assert len(cold) <= len(truth) + 1


@pytest.mark.parametrize("wrong_px", [0, 16])
def test_a_wrong_matching_point_is_told_by_the_pictures(pair: Pair, wrong_px: int) -> None:
    """Four points always fit: only what both pictures show can tell that one is wrong."""
    comparison = compare_places(pair.good, pair.bad, matching_of(pair, wrong_px))
    warned = [note for note in comparison.notes if "off each other" in note]
    assert bool(warned) == bool(wrong_px)


@pytest.mark.slow
def test_matching_points_some_pixels_off_come_to_the_same_view(pair: Pair) -> None:
    """Of two ways onto one plane, at the places that warm."""
    right, off = (compare_places(pair.good, pair.bad, matching_of(pair, px)) for px in (0, 4))
    places = np.array([[one.x_mm, one.y_mm] for one in right.subjects])
    views = [mapped(found.aligned[0].view.matrix, places) for found in (right, off)]
    apart = np.linalg.norm(views[1] - views[0], axis=1)
    assert float(np.sqrt(np.mean(apart**2))) < 0.5  # px


def matching_of(pair: Pair, wrong_px: float) -> list[Match]:
    """Return four matching points, one of them so far off."""
    both = zip(pair.marks_good, pair.marks_bad, strict=True)
    (good, (u, v)), *others = [(g.pixel, b.pixel) for g, b in both][:4]
    return [(good, (u + wrong_px, v)), *others]


def compare_view(pair: Pair) -> Floats:
    from thermview.board import fit_homography

    return fit_homography(pair.marks_bad).matrix


@pytest.mark.slow
def test_by_regions_where_the_camera_did_not_move(pair: Pair) -> None:
    regions = RegionSet(
        (Region("chip", Rectangle(30, 60, 8, 8)), Region("hot", Rectangle(100, 60, 9, 9)))
    )
    comparison = compare_places(pair.bad, pair.bad, regions=regions)
    assert [o.name for o in comparison.subjects] == ["chip", "hot"]
    assert {o.verdict for o in comparison.subjects} <= {"alike", "unreadable"}
    assert pixel_of(comparison, comparison.subjects[0].x_mm, comparison.subjects[0].y_mm) == (
        34,
        64,
    )


def test_unmoved_camera_needs_pictures_of_one_size(pair: Pair) -> None:
    with pytest.raises(InputError, match="matching points"):
        compare_places(pair.good, pair.bad)


@pytest.mark.slow
def test_tolerance_moves_the_limits(pair: Pair, found: Comparison) -> None:
    strict = compare_boards(
        pair.good,
        pair.bad,
        pair.parts,
        (pair.marks_good, pair.marks_bad),
        limits=Limits(0.95, 1.05),
    )
    assert set(accused(found)) < set(accused(strict))


def test_sides_that_differ_are_refused(pair: Pair) -> None:
    width = pair.bad.info.width_px
    mirrored = moved(pair.marks_bad, np.array([[-1.0, 0, width], [0, 1, 0], [0, 0, 1]]))
    with pytest.raises(InputError, match="same side"):
        pair.compare(marks=mirrored)


@pytest.mark.slow
def test_nothing_that_warms_is_told(pair: Pair) -> None:
    still = Changed(pair.good)
    quiet = int(np.searchsorted(still.times_s, 3.0))
    rng = np.random.default_rng(1)
    frames = [still.frame(n % quiet).counts + rng.normal(0, 2, still.frame(0).counts.shape)
              for n in range(120)]  # fmt: skip
    still._pictures = [f.astype(np.float32) for f in frames]
    still.times_s = np.arange(120) * 0.16
    with pytest.raises(InputError, match="give the time"):
        compare_boards(still, pair.bad, pair.parts, (pair.marks_good, pair.marks_bad))


def test_a_recording_that_begins_with_the_power_on_is_refused(pair: Pair) -> None:
    skip = int(np.searchsorted(pair.bad.times_s, 7.0))
    late = Changed(pair.bad, skip=skip)
    with pytest.raises(InputError, match="first moment"):
        pair.compare(late)
    with pytest.raises(InputError, match="no picture from before"):
        compare_boards(
            pair.good,
            late,
            pair.parts,
            (pair.marks_good, pair.marks_bad),
            on_s=(None, -2.7),
        )
