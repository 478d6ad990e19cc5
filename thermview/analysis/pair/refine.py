"""A view sharpened by what one recording shows: the parts' own edges, beside the landmarks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from thermview.analysis.pair.align import Aligner, View
from thermview.analysis.pair.clock import Courses, WarmUp, find_power_on, warm_up
from thermview.analysis.pair.compare import in_view, pose_of, subjects_of
from thermview.analysis.pair.plane import Plane, mapped
from thermview.analysis.prepare import Progress, Take
from thermview.analysis.stabilise import steadied
from thermview.board import Landmark, Part, fit_homography
from thermview.errors import InputError
from thermview.frames import Footage

Floats = NDArray[np.float64]

MOST_PARTS = 60
"""So many of the largest parts fix a view as well as all of a long list."""
LEAST_PARTS = 4
TRUSTED_MM = 1.5
"""Landmarks are not so far off: a pattern that says so is another."""
STILL_S = 4.0
"""Without power, a picture from before it tells as much as these seconds."""


@dataclass(frozen=True, slots=True)
class Refined:
    """Landmarks moved onto the picture's own pattern.

    Attributes
    ----------
    landmarks : tuple of Landmark
        The same places on the board; where the refined view has them in the picture.
    moved_mm, sigma_mm : float
        Root mean square shift at the parts, and what uncertainty remains there.
    moved_px : float
        The shift in pixels.
    """

    landmarks: tuple[Landmark, ...]
    moved_mm: float
    sigma_mm: float
    moved_px: float


def refined_landmarks(
    landmarks: Sequence[Landmark],
    parts: Sequence[Part],
    footage: Footage,
    *,
    on_s: float | None = None,
    progress: Progress | None = None,
) -> Refined:
    """Refine a view by the parts' outlines and, once they warm, their heat.

    Parameters
    ----------
    landmarks : sequence of Landmark
        Four or more; they count with the uncertainty of a click.
    parts : sequence of Part
        Of both sides.
    footage : Footage
        The camera held still.
    on_s : float, optional
        When the power came on; found from the frames unless given. A board that never warms is
        refined by its outlines alone.

    Raises
    ------
    InputError
        Landmarks that fix no view, too few parts in view, a camera that moves, or a pattern that
        does not agree with the landmarks.
    """
    view = fit_homography(landmarks)
    take, motion = steadied(footage, progress)
    if motion is not None:
        raise InputError("the camera moves in this recording; hold it still to refine the points")
    places = np.array([landmark.board_mm for landmark in landmarks], dtype=np.float64)
    clicked = View(view.matrix, view.mm_per_px, places)
    subjects = [s for s in subjects_of(parts, view) if in_view(s, clicked, take.shape)]
    if len(subjects) < LEAST_PARTS:
        raise InputError(
            f"{len(subjects)} parts are in view; {LEAST_PARTS} or more are needed to refine by"
        )
    subjects = sorted(subjects, key=lambda subject: -subject.area_m2)[:MOST_PARTS]
    plane = Plane.around(subjects, view.mm_per_px)
    courses, warm = _warmed(take, on_s)
    near = pose_of(subjects, view.matrix, take, motion) @ view.matrix
    found = Aligner(plane, subjects, courses).refine(replace(clicked, matrix=near), warm)
    middles = np.stack([subject.centre_mm for subject in subjects])
    apart = mapped(found.view.matrix, middles) - mapped(view.matrix, middles)
    moved_px = float(np.sqrt(np.mean(np.sum(apart**2, axis=1))))
    moved_mm = moved_px * view.mm_per_px
    if not moved_mm <= TRUSTED_MM:
        raise InputError(
            f"the picture's pattern lies {moved_mm:.1f} mm from where the points put the parts; "
            "check the points and the placement list first"
        )
    pixels = mapped(found.view.matrix, places)
    return Refined(
        tuple(
            Landmark(landmark.board_mm, (float(x), float(y)))
            for landmark, (x, y) in zip(landmarks, pixels.tolist(), strict=True)
        ),
        moved_mm,
        found.sigma_mm,
        moved_px,
    )


def _warmed(take: Take, on_s: float | None) -> tuple[Courses, WarmUp]:
    """Return the warm-up, or the cold board alone where nothing tells of power."""
    try:
        began_s = find_power_on(take) if on_s is None else on_s
        courses = Courses.of_step(max(float(take.times_s[-1]) - began_s, 1.0))
        return courses, warm_up(take, began_s, courses)
    except InputError:
        courses = Courses.of_step(STILL_S)
        nothing = np.zeros((courses.count, *take.shape), np.float32)
        mean = take.rise_k.mean(axis=0)
        noise_k = take.noise_k / float(np.sqrt(len(take.times_s)))
        return courses, WarmUp(nothing, take.noise_k, take.first_k + mean, noise_k, nothing[0])
