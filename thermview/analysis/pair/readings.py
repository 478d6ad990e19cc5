"""What is told of each subject: rises, watts on both boards, and the verdict."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from thermview.analysis.heat_model import SEEN
from thermview.analysis.pair.align import Aligned, View
from thermview.analysis.pair.clock import WarmUp
from thermview.analysis.pair.plane import Subject, mapped
from thermview.analysis.pair.verdict import ALIKE, COLDER, HOTTER, OUT_OF_VIEW, UNREADABLE, Weighed
from thermview.analysis.pair.watts import SCALE_DOUBT, Drawn

Floats = NDArray[np.float64]

SMALL_PX = 0.25  # a body of fewer pixels shows nothing of its own
SHINY_SHARE = 0.4  # what shows less of its surroundings' rise is shiny, or heavy
SHINY_LEAST_K = 1.0
RING_MM = 2.0


@dataclass(frozen=True, slots=True)
class Compared:
    """One subject on both boards.

    Attributes
    ----------
    name : str
    x_mm, y_mm : float
        Its middle on the plane.
    rise_good_k, rise_bad_k : float
        Apparent, mean over the outline, at the end of the time that both recordings have; NaN out
        of view.
    power_good_w, power_bad_w : float
        Dissipated; the good board's is brought to the other's supply level.
    sigma_w : float
        Standard uncertainty of their difference, misplacement and neighbours included.
    verdict : str
        ``colder``, ``hotter``, ``alike``, ``out of view`` or ``unreadable``.
    sigma_bad_w : float
        Standard uncertainty of the other board's power by itself, its scale left out.
    scale_doubt : float
        Standard uncertainty of the scale that both boards' powers share: the model's, as a share.
    """

    name: str
    x_mm: float
    y_mm: float
    rise_good_k: float
    rise_bad_k: float
    power_good_w: float
    power_bad_w: float
    sigma_w: float
    verdict: str
    sigma_bad_w: float = float("nan")
    scale_doubt: float = float("nan")

    @property
    def unusual(self) -> float:
        """Return the difference in units of its uncertainty; negative is colder."""
        if not self.sigma_w > 0:
            return 0.0
        return (self.power_bad_w - self.power_good_w) / self.sigma_w


@dataclass(frozen=True, slots=True)
class Entry:
    """Watts on both boards, their difference's and the other's own uncertainty, the verdict."""

    good_w: float
    bad_w: float
    sigma_w: float
    sigma_bad_w: float
    verdict: str
    scale_doubt: float


def entries_of(
    subjects: Sequence[Subject], drawn: Sequence[Drawn], weighed: Weighed, said: Sequence[str]
) -> dict[str, Entry]:
    """Return what is told of each fitted subject, by name."""
    found = {}
    for at, (subject, own, verdict) in enumerate(zip(subjects, drawn, said, strict=True)):
        good_w, bad_w = weighed.power_w[:, at]
        told = np.array([weighed.level * good_w, bad_w, weighed.sigma_w[at]])
        told *= own.factor / SEEN
        own_w = float(weighed.presence_w[1, at]) * own.factor / SEEN
        doubt = float(np.hypot(own.spread, SCALE_DOUBT))
        found[subject.name] = Entry(
            float(told[0]), float(told[1]), float(told[2]), own_w, verdict, doubt
        )
    return found


def median_entry(entries: Sequence[Entry]) -> Entry:
    """Return what is told of a subject that is too cold to be fitted."""
    sigma_w = float(np.median([e.sigma_w for e in entries]))
    own_w = float(np.median([e.sigma_bad_w for e in entries]))
    return Entry(0.0, 0.0, sigma_w, own_w, ALIKE, SCALE_DOUBT)


def compared(
    subject: Subject,
    there: bool,
    entry: Entry,
    aligned: Sequence[Aligned],
    warm: Sequence[WarmUp],
) -> Compared:
    """Return a subject's line; `there`: it is in view of both."""
    x, y = (float(v) for v in subject.centre_mm)
    views = [(a.view, w) for a, w in zip(aligned, warm, strict=True)]
    rises = [rise_of(subject, view, one) for view, one in views]
    where = (subject.name, x, y, rises[0], rises[1])
    if not there:
        nan = float("nan")
        return Compared(*where, nan, nan, nan, OUT_OF_VIEW)
    verdict = entry.verdict
    if verdict == ALIKE and max(entry.good_w, entry.bad_w) < 3 * entry.sigma_w:
        doubtful = views
    elif verdict in (COLDER, HOTTER):  # where it should show the more it must show at all
        doubtful = [views[int(verdict == HOTTER)]]
    else:
        doubtful = []
    if any(hidden(subject, view, one) for view, one in doubtful):
        verdict = UNREADABLE
    return Compared(
        *where,
        entry.good_w,
        entry.bad_w,
        entry.sigma_w,
        verdict,
        entry.sigma_bad_w,
        entry.scale_doubt,
    )


def _pixels(outline_px: Floats, shape: tuple[int, int]) -> NDArray[np.bool_]:
    """Return the pixels whose centres an outline holds, or the one under its middle."""
    mask = np.zeros(shape, np.uint8)
    cv2.fillConvexPoly(mask, np.round((outline_px - 0.5) * 16).astype(np.int32), 1, cv2.LINE_8, 4)
    x, y = np.floor(outline_px.mean(axis=0)).astype(int)
    if 0 <= y < shape[0] and 0 <= x < shape[1]:
        mask[y, x] = 1
    return mask.astype(bool)


def rise_of(subject: Subject, view: View, warm: WarmUp) -> float:
    """Return the mean rise over a subject, K; NaN where it is not in the picture."""
    mask = _pixels(mapped(view.matrix, subject.outline_mm), warm.rise_k.shape)
    return float(warm.rise_k[mask].mean()) if mask.any() else float("nan")


def inner_and_ring(
    subject: Subject, view: View, shape: tuple[int, int]
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Return a subject's pixels, and those of its close surroundings."""
    outline_px = mapped(view.matrix, subject.outline_mm)
    arms = outline_px - outline_px.mean(axis=0)
    reach = np.maximum(np.linalg.norm(arms, axis=1, keepdims=True), 1e-6)
    inner = _pixels(outline_px, shape)
    ring = _pixels(outline_px + arms / reach * RING_MM / view.mm_per_px, shape) & ~inner
    return inner, ring


def hidden(subject: Subject, view: View, warm: WarmUp) -> bool:
    """Tell whether a cold subject could not show its heat: too small, or shiny (or heavy)."""
    outline_px = mapped(view.matrix, subject.outline_mm)
    if float(cv2.contourArea(outline_px.astype(np.float32))) < SMALL_PX:
        return True
    inner, ring = inner_and_ring(subject, view, warm.rise_k.shape)
    if not ring.any() or not inner.any():
        return False
    around = float(np.median(warm.rise_k[ring]))
    return around > SHINY_LEAST_K and float(warm.rise_k[inner].mean()) < SHINY_SHARE * around
