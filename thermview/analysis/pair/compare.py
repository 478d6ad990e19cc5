"""Against a known-good board: which parts dissipate less or more than they should.

Both recordings come onto one clock (time since power-on) and one plane (the board's), are explained
by one model of heat with each part's power free on both boards, and are compared part by part.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from thermview.analysis.heat.watts import bare_share, body_height_mm
from thermview.analysis.heat_model import SEEN, Footprint
from thermview.analysis.pair.align import Aligned, Aligner, View
from thermview.analysis.pair.apart import apart_from_power, change_of
from thermview.analysis.pair.clock import Courses, WarmUp, find_power_on, warm_up
from thermview.analysis.pair.fit import JointFit
from thermview.analysis.pair.grain import resolved, seen_by
from thermview.analysis.pair.onto import onto
from thermview.analysis.pair.plane import Plane, Subject, highpass, mapped
from thermview.analysis.pair.readings import Compared, compared, entries_of, median_entry
from thermview.analysis.pair.softness import evened
from thermview.analysis.pair.templates import NARROW
from thermview.analysis.pair.verdict import (
    COLDER,
    HOTTER,
    LEVEL_SPAN,
    UNREADABLE,
    Limits,
    verdicts,
    weigh,
)
from thermview.analysis.placing import best_pose
from thermview.analysis.prepare import Take
from thermview.analysis.stabilise import Motion, steadied
from thermview.board import BoardView, Landmark, Part, fit_homography, parts_seen, side_seen
from thermview.errors import InputError
from thermview.frames import Footage

Floats = NDArray[np.float64]
Progress = Callable[[int, int], None]

MOST_FITTED = 200
"""Of longer lists only the parts that look warmest on either board are fitted."""


@dataclass(frozen=True, slots=True, eq=False)
class Filmed:
    """One board's recording, read, and how the camera saw the board.

    Attributes
    ----------
    take : Take
    view : View
    on_s : float or None
        When the power came on; None: found from the frames.
    """

    take: Take
    view: View
    on_s: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Comparison:
    """All subjects, and what was found on the way.

    Attributes
    ----------
    subjects : tuple of Compared
        In the order given.
    level : float
        The other board's power over the good one's that all warm parts share.
    on_s : (float, float)
        When the power came on in each recording.
    until_s : float
        Seconds after power-on that both recordings have.
    aligned : (Aligned, Aligned)
        The views after refinement.
    plane : Plane
    rise_k : ndarray of float32, shape (2, row, column)
        Both boards' rise on the plane at `until_s`; rows count along +y of the plane.
    notes : tuple of str
        What the user should know.
    """

    subjects: tuple[Compared, ...]
    level: float
    on_s: tuple[float, float]
    until_s: float
    aligned: tuple[Aligned, Aligned]
    plane: Plane
    rise_k: NDArray[np.float32]
    notes: tuple[str, ...] = ()

    def ranked(self) -> list[Compared]:
        """Return the subjects, the accused first, then by how unusual they are."""
        return sorted(
            self.subjects,
            key=lambda c: (c.verdict not in ("colder", "hotter"), -abs(c.unusual)),
        )


def compare_boards(
    good: Footage,
    bad: Footage,
    parts: Sequence[Part],
    landmarks: tuple[Sequence[Landmark], Sequence[Landmark]],
    *,
    on_s: tuple[float | None, float | None] = (None, None),
    limits: Limits | None = None,
    progress: Progress | None = None,
) -> Comparison:
    """Compare two recordings part by part.

    Parameters
    ----------
    parts : sequence of Part
        Of both sides; those of the side in view are compared.
    landmarks : (sequence, sequence)
        Of the good board's picture and of the other's.
    on_s :
        When the power came on in each; None is found from the frames.

    Raises
    ------
    InputError
        Landmarks that fix no view, nothing that warms, too few frames.
    """
    fitted = [fit_homography(marks) for marks in landmarks]
    sides = [side_seen(view) for view in fitted]
    if sides[0] != sides[1]:
        raise InputError(
            f"the landmarks show the good board's {sides[0]} and the other's {sides[1]}; film the "
            "same side of both, or check the landmarks for swaps"
        )
    films = [
        filmed(footage, parts, marks, on_s=on, progress=progress)
        for footage, marks, on in zip((good, bad), landmarks, on_s, strict=True)
    ]
    return compare(films[0], films[1], subjects_of(parts, fitted[1]), limits=limits)


def subjects_of(parts: Sequence[Part], view: BoardView) -> list[Subject]:
    """Return the parts of the side that a view shows, in their order."""
    return [
        Subject(
            part.designator,
            part.outline_mm(),
            1e-3 * body_height_mm(part.package, part.width_mm, part.height_mm),
            bare_share(part.package),
        )
        for part in parts_seen(parts, view)
    ]


def filmed(
    footage: Footage,
    parts: Sequence[Part],
    landmarks: Sequence[Landmark],
    *,
    on_s: float | None = None,
    progress: Progress | None = None,
) -> Filmed:
    """Read a recording, held still where the camera moved.

    Raises
    ------
    InputError
        Landmarks that fix no view, too few frames.
    """
    view = fit_homography(landmarks)
    places = np.array([m.board_mm for m in landmarks], dtype=np.float64)
    take, motion = steadied(footage, progress)
    matrix = pose_of(subjects_of(parts, view), view.matrix, take, motion) @ view.matrix
    return Filmed(take, View(matrix, view.mm_per_px, places), on_s)


def pose_of(
    subjects: Sequence[Subject], matrix: Floats, take: Take, motion: Motion | None
) -> Floats:
    """Return the way from where the landmarks are to where the parts' pattern is.

    Refinement finds no farther than a pixel; and a moving camera was elsewhere in the landmarks'
    picture than where its pictures are held.
    """
    footprints = [
        Footprint(s.name, mapped(matrix, s.outline_mm), s.area_m2) for s in subjects[:MOST_FITTED]
    ]
    poses = [np.eye(3)] if motion is None else [np.eye(3), motion.rest()]
    return best_pose(footprints, take.first_k, poses)


def compare(
    good: Filmed, bad: Filmed, subjects: Sequence[Subject], *, limits: Limits | None = None
) -> Comparison:
    """Compare two boards subject by subject.

    Raises
    ------
    InputError
        Nothing that warms, too few frames, no subject in view of both.
    """
    given = (good, bad)
    films = tuple(settle_power_on(_resolved(f)) for f in given)
    on_s = tuple(f.on_s or 0.0 for f in films)
    until_s = min(float(f.take.times_s[-1]) - on for f, on in zip(films, on_s, strict=True))
    courses = Courses.of_step(max(until_s, 1.0))
    warm = tuple(warm_up(f.take, on, courses) for f, on in zip(films, on_s, strict=True))
    seen = [all(in_view(s, f.view, f.take.shape) for f in films) for s in subjects]
    inside = [s for s, there in zip(subjects, seen, strict=True) if there]
    if not inside:
        raise InputError("no part is in view in both recordings; check the landmarks")
    plane = Plane.around(inside, max(f.view.mm_per_px for f in films))
    views = tuple(f.view for f in films)
    chosen = _promising(inside, plane, warm, views, courses)
    aligner = Aligner(plane, chosen, courses)
    first = aligner.refine(films[0].view, warm[0])
    noise_k = max(w.noise_k for w in warm)
    if bad is good:
        aligned = (first, first)
    else:
        aligned = _laid(aligner, (first, aligner.refine(films[1].view, warm[1])), warm, noise_k)
    del aligner
    block = np.stack([_seen(plane, a.view, w) for a, w in zip(aligned, warm, strict=True)])
    block, blur_var = evened(block, plane, chosen, noise_k)
    soft = replace(plane, blur=float(np.hypot(plane.blur, blur_var**0.5)))
    fit = JointFit(soft, chosen, courses)
    fitted = fit.fit(block, noise_k)
    # the courses are of unit size, and without what stays as it is
    step = 0.5 * len(courses.times_s) ** 0.5
    factor = np.array([d.factor for d in fit.drawn]) / SEEN
    weighed = weigh(fitted, plane, chosen, aligned, noise_k, step=step, factor=factor)
    said = verdicts(weighed, limits or Limits())
    entries = entries_of(chosen, fit.drawn, weighed, said)
    usual = median_entry(list(entries.values()))
    listed = tuple(
        _following(
            compared(subject, there, entries.get(subject.name, usual), aligned, warm),
            subject,
            films,
            aligned,
            courses,
        )
        for subject, there in zip(subjects, seen, strict=True)
    )
    rise_k = np.stack(
        [
            plane.rectify(w.rise_k[None], a.view.matrix, a.view.mm_per_px)[0]
            for a, w in zip(aligned, warm, strict=True)
        ]
    )
    good_view, bad_view = (
        replace(a, view=seen_by(a.view, film.take.shape, whole.take.shape))
        for a, film, whole in zip(aligned, films, given, strict=True)
    )
    return Comparison(
        listed,
        weighed.level,
        (on_s[0], on_s[1]),
        until_s,
        (good_view, bad_view),
        plane,
        rise_k,
        _notes(given, on_s, aligned, weighed.level),
    )


def _following(
    one: Compared,
    subject: Subject,
    films: tuple[Filmed, ...],
    aligned: tuple[Aligned, Aligned],
    courses: Courses,
) -> Compared:
    """Return what is told of a subject; no accusation where it shows what the power did not do."""
    if one.verdict not in (COLDER, HOTTER):
        return one
    good, bad = (
        change_of(subject, a.view, film.take, film.on_s or 0.0, courses)
        for film, a in zip(films, aligned, strict=True)
    )
    more, less = (bad, good) if one.verdict == HOTTER else (good, bad)
    return replace(one, verdict=UNREADABLE) if apart_from_power(more, less) else one


def _resolved(film: Filmed) -> Filmed:
    take, view = resolved(film.take, film.view)
    return film if take is film.take else replace(film, take=take, view=view)


def settle_power_on(film: Filmed) -> Filmed:
    """Return a film whose power-on is known: as given, else found from the frames."""
    return film if film.on_s is not None else replace(film, on_s=find_power_on(film.take))


def _laid(
    aligner: Aligner, views: tuple[Aligned, Aligned], warm: tuple[WarmUp, ...], noise_k: float
) -> tuple[Aligned, Aligned]:
    """Return the views with one picture laid onto the other, where one may be moved."""
    movable = [at for at in (1, 0) if not views[at].view.exact]
    if not movable:
        return views
    at = movable[0]
    still = _seen(aligner.plane, views[1 - at].view, warm[1 - at])
    laid = onto(
        aligner,
        still,
        views[at],
        lambda view: _seen(aligner.plane, view, warm[at]),
        doubt=views[0].covariance + views[1].covariance,
        noise_k=noise_k,
    )
    return (views[0], laid) if at else (laid, views[1])


def _seen(plane: Plane, view: View, warm: WarmUp) -> NDArray[np.float32]:
    rectified = plane.rectify(warm.coefficients, view.matrix, view.mm_per_px)
    return highpass(rectified, NARROW)


def in_view(subject: Subject, view: View, shape: tuple[int, int]) -> bool:
    """Tell whether all of an outline is in the picture, its outermost pixels left out."""
    corners = mapped(view.matrix, subject.outline_mm)
    rows, columns = shape
    return bool(np.all(corners >= 1.0) and np.all(corners <= [columns - 1.0, rows - 1.0]))


def _promising(
    subjects: list[Subject],
    plane: Plane,
    warm: tuple[WarmUp, ...],
    views: tuple[View, ...],
    courses: Courses,
) -> list[Subject]:
    """Return the subjects worth fitting: all, or of many those that look warmest on a board."""
    if len(subjects) <= MOST_FITTED:
        return subjects
    late = (courses.active[-1] - courses.active[0]).astype(np.float32)
    shown = [
        np.tensordot(late, _seen(plane, view, one), 1)
        for view, one in zip(views, warm, strict=True)
    ]
    warmest = cv2.dilate(np.maximum(*shown), np.ones((3, 3), np.uint8))
    cells = np.floor(plane.cells(np.stack([s.centre_mm for s in subjects]))).astype(int)
    score = warmest[cells[:, 1], cells[:, 0]]
    keep = set(np.argsort(-score)[:MOST_FITTED].tolist())
    return [s for i, s in enumerate(subjects) if i in keep]


def _notes(
    given: tuple[Filmed, ...],
    on_s: tuple[float, ...],
    aligned: tuple[Aligned, Aligned],
    level: float,
) -> tuple[str, ...]:
    notes = []
    for name, film, on, one in zip(("good", "bad"), given, on_s, aligned, strict=True):
        if film.on_s is None:
            notes.append(f"{name} board: power-on found from the frames at {on:.2f} s")
        if not one.view.exact:
            notes.append(
                f"{name} board: view refined by {one.moved_mm:.2f} mm, "
                f"± {one.sigma_mm:.2f} mm remain"
            )
    if level in LEVEL_SPAN:
        more = "more" if level > 1 else "less"
        notes.append(
            f"most parts dissipate much {more} than on the good board; check the supply and the "
            "times of power-on before any part"
        )
    elif abs(level - 1) > 0.005:
        notes.append(f"all parts together dissipate {level:.2f} times the good board's; taken out")
    return tuple(notes)
