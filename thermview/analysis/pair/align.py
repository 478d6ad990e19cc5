"""Landmarks sharpened: the view shifted until the parts' own edges fit, far below a pixel.

The warm-up is explained by all parts' heat, the picture before power by the parts' outlines (they
reflect the room unlike the board). What is left over next to edges tells how the view is off
(Lucas & Kanade's least squares, for a homography's eight freedoms), beside what the landmarks say
with their own uncertainty.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from thermview.analysis.nonnegative import nonnegative_by_products
from thermview.analysis.pair.clock import Courses, WarmUp
from thermview.analysis.pair.patches import Patches
from thermview.analysis.pair.plane import (
    BLUR_PX,
    Pictures,
    Plane,
    Subject,
    Window,
    highpass,
    mapped,
)
from thermview.analysis.pair.templates import NARROW, Library, usual_excess, usual_lag

Floats = NDArray[np.float64]

LANDMARK_SIGMA_MM = 1.0
"""How far a clicked landmark may well be off, root of the sum of both axes' squares."""
SOFTENED = (0.3, 0.3, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
"""By how many mm edges are softened, round by round: soft ones are felt from farther off."""
SETTLED_MM = 0.01
EDGE = 1.5  # what is wider than this many cells is not an edge, and is where models err
LEAST_SIGMA_PX = 0.08  # interpolation and blur leave about this much
LEAST_PATTERN_K = 0.02  # the sensor's own pattern is left in a picture of any length
LOOK_SHARE, HEAT_SHARE = 0.3, 0.05
"""Shares of cells that err independently: parts look sharp, but heat's models err smoothly, and
beside a hot part all to one side (measured against known views)."""
TRIED_KAPPAS = (0.006, 0.018)
AROUND = 16  # cells that a part's outline, high-passed, reaches beyond it
NOT_WHITE = 2.5  # what errs is not white: measured against known views
INNER = 0.65  # a chip resistor's dark middle between its bright ends


@dataclass(frozen=True, slots=True, eq=False)
class View:
    """One board in its picture.

    Attributes
    ----------
    matrix : ndarray, shape (3, 3)
        From mm on the plane to pixels.
    mm_per_px : float
    landmarks_mm : ndarray, shape (landmark, 2)
        Places that fixed it.
    exact : bool
        It is known better than the pictures tell; it is not refined.
    """

    matrix: Floats
    mm_per_px: float
    landmarks_mm: Floats
    exact: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Aligned:
    """A view after refinement.

    Attributes
    ----------
    view : View
    covariance : ndarray, shape (8, 8)
        Of the displacement's coefficients (`displacements`), mm².
    moved_mm : float
        Root mean square shift that the refinement made at the subjects.
    sigma_mm : float
        Its uncertainty there, root mean square.
    apart : ndarray, shape (8, 8), or None
        Covariance of how it lies beside the other board's view, where its picture was laid onto
        the other's; the rest of what is wrong with it is wrong with the other too.
    """

    view: View
    covariance: Floats
    moved_mm: float
    sigma_mm: float
    apart: Floats | None = None


def displacements(plane: Plane, points_mm: Floats) -> tuple[Floats, Floats]:
    """Return how each of a homography's eight small changes moves points, mm, shape (point, 8)."""
    rows, columns = plane.shape
    x, y = (2 * plane.cells(points_mm) / [columns, rows] - 1).reshape(-1, 2).T
    one, zero = np.ones_like(x), np.zeros_like(x)
    along_x = np.stack([one, x, y, zero, zero, zero, x * x, x * y], axis=1)
    along_y = np.stack([zero, zero, zero, one, x, y, x * y, y * y], axis=1)
    return along_x, along_y


def shifted(plane: Plane, view: View, step: Floats) -> View:
    """Return a view by which what was seen at p - step(p) comes to p.

    Parameters
    ----------
    step : ndarray, shape (8,)
        Coefficients of `displacements`, mm.
    """
    rows, columns = plane.shape
    corners = np.array([[0, 0], [columns, 0], [columns, rows], [0, rows]], dtype=np.float64)
    corners = corners * plane.pitch_mm + plane.origin_mm
    x, y = (a @ step for a in displacements(plane, corners))
    seen = mapped(view.matrix, corners - np.stack([x, y], axis=1))
    matrix = cv2.getPerspectiveTransform(corners.astype(np.float32), seen.astype(np.float32))
    return View(matrix.astype(np.float64), view.mm_per_px, view.landmarks_mm)


class Aligner:
    """Refines the views of both boards by one set of templates and outlines."""

    def __init__(self, plane: Plane, subjects: Sequence[Subject], courses: Courses) -> None:
        self.plane = plane
        self.subjects = subjects
        self.heat = _heat_patches(plane, subjects, courses)
        self.heat_gram = self.heat.gram()
        self.looks = _outline_patches(plane, subjects)
        gram = self.looks.gram()
        self.looks_gram = gram + 1e-3 * float(np.diag(gram).max()) * np.eye(len(gram))
        rows, columns = plane.shape
        yy, xx = np.mgrid[0:rows, 0:columns] + 0.5
        centres = np.stack([xx, yy], axis=-1).reshape(-1, 2) * plane.pitch_mm + plane.origin_mm
        along = displacements(plane, centres)
        self.along = [(a / plane.pitch_mm).T.reshape(8, rows, columns) for a in along]

    def refine(self, view: View, warm: WarmUp) -> Aligned:
        """Return the view that the pictures say, from the landmarks' on."""
        along = displacements(self.plane, view.landmarks_mm)
        axis_var = LANDMARK_SIGMA_MM**2 / 2
        prior = sum((a.T @ a for a in along), np.zeros((8, 8))) / axis_var
        moved = np.zeros(8)
        covariance: Floats = np.zeros((8, 8))
        if not view.exact:
            covariance = np.linalg.inv(prior + 1e-6 * np.trace(prior) * np.eye(8))
        places = np.stack([s.centre_mm for s in self.subjects])
        now = view
        for soft in () if view.exact else np.array(SOFTENED) / self.plane.pitch_mm:
            normal, right = self._evidence(now, warm, soft)
            normal[:8, :8] += prior
            right[:8] -= prior @ moved
            step = np.asarray(np.linalg.solve(normal, right)[:8], dtype=np.float64)
            covariance = np.asarray(np.linalg.inv(normal)[:8, :8], dtype=np.float64)
            moved = moved + step
            now = shifted(self.plane, now, step)
            if soft == 0 and np.abs(step).max() < SETTLED_MM:
                break
        at = displacements(self.plane, places)
        shift = np.sqrt(np.mean(sum((a @ moved) ** 2 for a in at)))
        floor = (LEAST_SIGMA_PX * view.mm_per_px) ** 2
        covariance = NOT_WHITE * covariance
        covariance[[0, 3], [0, 3]] += floor
        var = sum(np.einsum("pi,ij,pj->p", a, covariance, a) for a in at)
        return Aligned(now, covariance, float(shift), float(np.sqrt(np.mean(var))))

    def _evidence(self, view: View, warm: WarmUp, soft: float) -> tuple[Floats, Floats]:
        """Return normal equations for eight displacements and a change of blur."""
        seen = self.plane.rectify(warm.coefficients, view.matrix, view.mm_per_px)
        seen = highpass(seen, NARROW)
        powers = nonnegative_by_products(self.heat_gram, self.heat.products(seen))
        model = self.heat.summed(powers, seen)
        normal, right = self._flow(model, seen - model, warm.noise_k, HEAT_SHARE, soft)
        still = _unstriped(warm.before_k)[None]
        look = highpass(self.plane.rectify(still, view.matrix, view.mm_per_px), EDGE * 3)
        contrast = np.linalg.solve(self.looks_gram, self.looks.products(look))
        outline = self.looks.summed(np.asarray(contrast), look)
        noise_k = max(warm.before_noise_k, LEAST_PATTERN_K)
        more = self._flow(outline, look - outline, noise_k, LOOK_SHARE, soft)
        normal, right = normal + more[0], right + more[1]
        normal[8, 8] += 1 / 0.2**2
        return normal, right

    def _flow(
        self, model: Pictures, left: Pictures, noise_k: float, share: float, soft: float
    ) -> tuple[Floats, Floats]:
        edges, left = (_edges(pictures, soft) for pictures in (model, left))
        wrong = cv2.GaussianBlur(np.mean(left**2, axis=0), (0, 0), 3.0)
        weight = (share / (wrong + noise_k**2)).astype(np.float32)
        dy, dx = np.gradient(edges, axis=(1, 2))
        columns = [dx * ax + dy * ay for ax, ay in zip(*self.along, strict=True)]
        columns.append(np.stack([cv2.Laplacian(e, cv2.CV_32F) for e in edges]))
        table = np.stack([c.astype(np.float32).ravel() for c in columns])
        weighted = table * np.broadcast_to(weight, left.shape).ravel()
        return (
            (weighted @ table.T).astype(np.float64),
            (weighted @ left.ravel()).astype(np.float64),
        )


def _edges(pictures: Pictures, soft: float) -> Pictures:
    if soft > 0.3:
        pictures = np.stack([cv2.GaussianBlur(p, (0, 0), soft) for p in pictures])
    return highpass(pictures, EDGE * (1 + soft))


def _heat_patches(plane: Plane, subjects: Sequence[Subject], courses: Courses) -> Patches:
    """Return each subject's heat on a plain and on a well-conducting board, and its body's own."""
    lags = sorted({usual_lag(s.area_m2) for s in subjects})
    library = Library(plane, courses, TRIED_KAPPAS, lags)
    pictures = []
    for subject in subjects:
        lag = usual_lag(subject.area_m2)
        which = [library.choices.index((kappa, lag)) for kappa in TRIED_KAPPAS]
        body = library.bodily(subject, lag) * usual_excess(subject.area_m2)
        sheets = library.sheet(subject, which)
        pictures.append(np.concatenate([sheets, body[None].astype(np.float32)]))
    return Patches([library.window(s).slices for s in subjects], pictures)


def _outline_patches(plane: Plane, subjects: Sequence[Subject]) -> Patches:
    """Return each subject's outline and its middle part, as edges."""
    cuts, pictures = [], []
    for subject in subjects:
        centre = subject.centre_mm
        extent = float(np.ptp(plane.cells(subject.outline_mm), axis=0).max())
        window = Window.around(plane.cells(centre), round(extent) + 2 * AROUND, plane.shape)
        arms = subject.outline_mm - centre
        long = int(np.argmax(np.ptp(arms, axis=0)))
        middle = arms * np.where(np.arange(2) == long, INNER, 1.0) + centre
        shares = [plane.coverage(outline, window) for outline in (subject.outline_mm, middle)]
        soft = [cv2.GaussianBlur(share, (0, 0), BLUR_PX) for share in shares]
        cuts.append(window.slices)
        pictures.append(highpass(np.stack(soft).astype(np.float32), EDGE * 3)[:, None])
    return Patches(cuts, pictures)


def _unstriped(picture: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return a picture without what is wide and without its columns' and rows' own offsets."""
    narrow = picture - cv2.GaussianBlur(picture, (0, 0), 9.0)
    narrow = narrow - np.median(narrow, axis=0)
    narrow = narrow - np.median(narrow, axis=1)[:, None]
    return np.asarray(narrow, dtype=np.float32)
