"""Comparison without a placement list: by places that warm, or by regions drawn on the picture.

The plane is then the other board's picture, its pixels taken for half a millimetre: ratios do not
depend on that, powers are as good as that.
"""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from thermview.analysis.pair.agreement import misfits
from thermview.analysis.pair.align import View
from thermview.analysis.pair.clock import SHOWN_S
from thermview.analysis.pair.compare import Comparison, Filmed, compare, settle_power_on
from thermview.analysis.pair.plane import Subject, mapped
from thermview.analysis.pair.verdict import Limits
from thermview.analysis.prepare import Take, gather, take_of
from thermview.board import Landmark, fit_homography
from thermview.errors import InputError
from thermview.frames import Footage
from thermview.regions import Ellipse, Line, Polygon, Rectangle, RegionSet, Shape, Spot

Floats = NDArray[np.float64]
Match = tuple[tuple[float, float], tuple[float, float]]
"""A place's pixel in the good board's picture, and in the other's."""

MM_PER_PX = 0.5
"""Assumed size of a pixel of the other board's picture."""
MOST_PLACES = 60
LEAST_SHARE = 0.02  # of the warmest place's prominence
LEAST_SIGMAS = 8.0
WIDE_PX = 8.0  # a place stands out from what is wider
WIDTH_PX = (2.0, 24.0)


def load_matching(path: Path | str) -> tuple[Match, ...]:
    """Read matching points from their JSON file; none means that the camera did not move.

    Raises
    ------
    InputError
        The file is missing or not in the form of matching points.
    """
    path = Path(path)
    try:
        entries = json.loads(path.read_text(encoding="utf-8-sig"))["matching"]
        found = tuple((_pair(e["good_pixel"]), _pair(e["bad_pixel"])) for e in entries)
    except OSError as error:
        raise InputError(f"cannot read the matching points {path}: {error.strerror}") from None
    except (ValueError, KeyError, TypeError, RecursionError):
        raise InputError(
            f'{path.name} is not {{"matching": [{{"good_pixel": [u, v], "bad_pixel": [u, v]}}, …]}}'
            " with finite numbers"
        ) from None
    if 0 < len(found) < 4:
        raise InputError(
            f"{path.name} has {len(found)} matching points; four or more are needed, or none "
            "where the camera did not move"
        )
    return found


def compare_places(
    good: Footage,
    bad: Footage,
    matching: Sequence[Match] = (),
    *,
    regions: RegionSet | None = None,
    on_s: tuple[float | None, float | None] = (None, None),
    limits: Limits | None = None,
) -> Comparison:
    """Compare by regions of the other board's picture, or by all places that warm in either.

    The comparison's plane is the other board's picture times `MM_PER_PX`.

    Raises
    ------
    InputError
        Points that match no flat board, pictures that do not fit, nothing that warms.
    """
    takes = (take_of(gather(good)), take_of(gather(bad)))
    views = matched_views(matching, takes)
    films = [
        settle_power_on(Filmed(take, view, on))
        for take, view, on in zip(takes, views, on_s, strict=True)
    ]
    if regions is not None:
        if not regions.regions:
            raise InputError("the regions file holds no region; draw some")
        subjects = [Subject(r.name, outline_of(r.shape) * MM_PER_PX) for r in regions.regions]
    else:
        subjects = find_places(films[0], films[1])
    found = compare(films[0], films[1], subjects, limits=limits)
    if matching and regions is None:  # what cooled on the other is seen where it was only now
        films[0] = replace(films[0], view=found.aligned[0].view)
        found = compare(films[0], films[1], find_places(films[0], films[1]), limits=limits)
    return replace(found, notes=(*_warnings(found, bool(matching)), *found.notes))


def _warnings(found: Comparison, matched: bool) -> list[str]:
    """Return where the pictures do not lie on each other, in words, the worst corner alone."""
    what = "check the matching points there" if matched else "did the camera move?"
    return [
        f"the pictures lie {one.cells * found.plane.pitch_mm / MM_PER_PX:.0f} pixels off each "
        f"other at the {one.corner}; {what}"
        for one in misfits(found.rise_k)[:1]
    ]


def matched_views(matching: Sequence[Match], takes: tuple[Take, Take]) -> tuple[View, View]:
    """Return the views of both pictures on the plane of the second."""
    scale = np.diag([1 / MM_PER_PX, 1 / MM_PER_PX, 1.0])
    nothing = np.zeros((0, 2))
    second = View(scale, MM_PER_PX, nothing, exact=True)
    if not matching:
        if takes[0].shape != takes[1].shape:
            raise InputError(
                f"the pictures are {takes[0].shape[1]}×{takes[0].shape[0]} and "
                f"{takes[1].shape[1]}×{takes[1].shape[0]} pixels, so they are not of one unmoved "
                "camera; give four or more matching points"
            )
        return View(scale, MM_PER_PX, nothing, exact=True), second
    marks = [Landmark((b[0] * MM_PER_PX, b[1] * MM_PER_PX), g) for g, b in matching]
    fitted = fit_homography(marks)
    places = np.array([m.board_mm for m in marks])
    return View(fitted.matrix, fitted.mm_per_px, places), second


def find_places(good: Filmed, bad: Filmed) -> list[Subject]:
    """Return the places that warm more than their surroundings on either board."""
    rows, columns = bad.take.shape
    there = _risen(bad)
    back = np.linalg.inv(_shift(0.5)) @ good.view.matrix @ np.diag([MM_PER_PX, MM_PER_PX, 1.0])
    here: NDArray[np.float32] = cv2.warpPerspective(
        _risen(good),
        back @ _shift(0.5),
        (columns, rows),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    ).astype(np.float32)
    noise_k = max(good.take.noise_k, bad.take.noise_k) / np.sqrt(10.0)
    both = np.maximum(_prominence(here), _prominence(there))
    peaks = (both == cv2.dilate(both, np.ones((5, 5)))) & (
        both > max(LEAST_SIGMAS * noise_k, LEAST_SHARE * float(both.max()))
    )
    peaks[:2], peaks[-2:], peaks[:, :2], peaks[:, -2:] = False, False, False, False
    ys, xs = np.nonzero(peaks)
    if len(ys) == 0:
        raise InputError("no place stands out by its warmth on either board")
    order = np.argsort(-both[ys, xs])[:MOST_PLACES]
    outlines: list[Floats] = []
    for at in order:
        outline = _extent(both, int(xs[at]), int(ys[at]))
        middle = outline.mean(axis=0)
        if all(not _inside(middle, other) for other in outlines):
            outlines.append(outline)
    return [Subject(f"place {n}", o * MM_PER_PX) for n, o in enumerate(outlines, 1)]


def outline_of(shape: Shape) -> Floats:
    """Return a region's convex outline, pixels, shape (corner, 2)."""
    match shape:
        case Spot(x, y):
            u, v = math.floor(x), math.floor(y)
            return np.array([[u, v], [u + 1, v], [u + 1, v + 1], [u, v + 1]], dtype=np.float64)
        case Rectangle(x, y, width, height):
            return np.array(
                [[x, y], [x + width, y], [x + width, y + height], [x, y + height]], dtype=np.float64
            )
        case Ellipse(cx, cy, rx, ry):
            angle = np.linspace(0, 2 * np.pi, 24, endpoint=False)
            return np.stack([cx + rx * np.cos(angle), cy + ry * np.sin(angle)], axis=1)
        case Line(x1, y1, x2, y2):
            along = np.array([x2 - x1, y2 - y1])
            side = np.array([-along[1], along[0]]) / max(float(np.hypot(*along)), 1e-9) / 2
            ends = np.array([[x1, y1], [x2, y2]], dtype=np.float64)
            return np.concatenate([ends - side, ends[::-1] + side])
        case Polygon(points):
            hull = cv2.convexHull(np.array(points, dtype=np.float32))
            return np.asarray(hull[:, 0], dtype=np.float64)


def pixel_of(comparison: Comparison, x_mm: float, y_mm: float) -> tuple[float, float]:
    """Return where a subject's middle is in the other board's picture."""
    u, v = mapped(comparison.aligned[1].view.matrix, np.array([x_mm, y_mm]))
    return float(u), float(v)


def _pair(value: Sequence[float]) -> tuple[float, float]:
    x, y = (float(v) for v in value)
    if not (math.isfinite(x) and math.isfinite(y)):
        raise ValueError(value)
    return x, y


def _shift(by: float) -> Floats:
    return np.array([[1.0, 0.0, by], [0.0, 1.0, by], [0.0, 0.0, 1.0]])


def _risen(film: Filmed) -> NDArray[np.float32]:
    """Return the rise over the whole recording, its last second's mean over the time before."""
    take, on_s = film.take, film.on_s or 0.0
    before = take.times_s < on_s
    zero = take.rise_k[before].mean(axis=0) if before.any() else take.rise_k[0]
    late = take.rise_k[take.times_s > take.times_s[-1] - SHOWN_S].mean(axis=0)
    return np.asarray(late - zero, dtype=np.float32)


def _prominence(rise_k: NDArray[np.float32]) -> NDArray[np.float32]:
    soft = cv2.GaussianBlur(rise_k, (0, 0), 0.8)
    return np.asarray(soft - cv2.GaussianBlur(rise_k, (0, 0), WIDE_PX), dtype=np.float32)


def _extent(prominence: NDArray[np.float32], x: int, y: int) -> Floats:
    """Return the box about a peak in which it has half its height, pixels."""
    high = (prominence > 0.5 * prominence[y, x]).astype(np.uint8)
    _, labels, stats, _ = cv2.connectedComponentsWithStats(high, connectivity=4)
    left, top, width, height, _ = (float(v) for v in stats[labels[y, x]])
    if max(width, height) > WIDTH_PX[1]:  # it runs into a neighbour
        left, top, width, height = x - 2.0, y - 2.0, 5.0, 5.0
    corners = [[left, top], [left + width, top], [left + width, top + height], [left, top + height]]
    return np.array(corners)


def _inside(point: Floats, outline: Floats) -> bool:
    u, v = (float(c) for c in point)
    return cv2.pointPolygonTest(outline.astype(np.float32), (u, v), False) >= 0
