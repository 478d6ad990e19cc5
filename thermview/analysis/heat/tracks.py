"""Glowing tracks among the findings: spots on one track become one path, with its end."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from thermview.analysis.heat.findings import Place, Suspect
from thermview.analysis.heat.nature import Nature
from thermview.analysis.heat.paths import Path, find_paths
from thermview.analysis.heat_model import Footprint
from thermview.board import BoardView

ON_PX = 5.0
"""A spot so near to a path is of it."""
UNDER_PX = 3.0
END_PX = 7.0
"""A part so near to an end may be what the track feeds."""
MOST_PATHS = 3
CLEAR_ALONE = 1200.0
"""Standard deviations times length, px, of a track where nothing else is seen to heat."""
ON_TRACK = "lies on a glowing track: the heat may be the track's"


def with_tracks(
    suspects: Sequence[Suspect],
    elsewhere: Sequence[Place],
    rise_k: NDArray[np.floating],
    footprints: Sequence[Footprint],
    view: BoardView | None,
) -> tuple[tuple[Suspect, ...], tuple[Place, ...]]:
    """Return the findings with tracks as paths; parts in their midst are doubted, never blamed.

    Parameters
    ----------
    suspects, elsewhere : sequences of Suspect and Place
        As found at parts and at spots.
    rise_k : ndarray, shape (row, column)
        Late against before the power, K.
    footprints : sequence of Footprint
        Of the parts.
    view : BoardView, optional
    """
    natures = [one.nature for one in suspects] + [one.nature for one in elsewhere]
    heated = Nature.HEATING in natures
    paths = find_paths(rise_k, [print_.outline_px for print_ in footprints])
    least = 0.0 if heated else CLEAR_ALONE
    paths = [path for path in paths if path.clarity * path.length_px > least][:MOST_PATHS]
    spots, tracks = list(elsewhere), []
    for path in paths:
        on = [spot for spot in spots if path.away_px(spot.x_px, spot.y_px) < ON_PX]
        spots = [spot for spot in spots if spot not in on]
        tracks.append(_place_of(path, on, rise_k, view, heated=heated))
    told = tuple(_doubted(one, paths) for one in suspects)
    return told, (*tracks, *spots)


def _place_of(
    path: Path,
    on: Sequence[Place],
    rise_k: NDArray[np.floating],
    view: BoardView | None,
    *,
    heated: bool,
) -> Place:
    x_px, y_px = path.points_px[-1].tolist()
    powers = [spot.power_w for spot in on if spot.power_w is not None]
    sigmas = [spot.power_sigma_w for spot in on if spot.power_sigma_w is not None]
    place = Place(
        x_px=x_px,
        y_px=y_px,
        x_mm=None,
        y_mm=None,
        radius_mm=0.0,
        nature=Nature.HEATING if heated else Nature.UNCERTAIN,
        rise_k=float(np.percentile(rise_k[path.mask], 95)),
        power_w=sum(powers) if powers else None,
        power_sigma_w=sum(sigmas) if sigmas else None,  # of one model: they err together
        snr=path.clarity,
        likely=max((spot.likely for spot in on), default=0.5),
        path_px=_pairs(path.points_px),
    )
    if view is None:
        return place
    course_mm = view.pixel_to_board(path.points_px)
    x_mm, y_mm = course_mm[-1].tolist()
    wide_mm = path.width_px / 2 * view.mm_per_px
    return replace(place, x_mm=x_mm, y_mm=y_mm, radius_mm=wide_mm, path_mm=_pairs(course_mm))


def _pairs(points: NDArray[np.float64]) -> tuple[tuple[float, float], ...]:
    return tuple((float(x), float(y)) for x, y in points)


def _doubted(suspect: Suspect, paths: Sequence[Path]) -> Suspect:
    """Return a part in the midst of a track as uncertain."""
    here = np.array([suspect.x_px, suspect.y_px])
    for path in paths:
        ends = path.points_px[[0, -1]]
        at_end = float(np.hypot(*(ends - here).T).min()) < END_PX
        under = path.away_px(suspect.x_px, suspect.y_px) < UNDER_PX and not at_end
        if under and suspect.nature is Nature.HEATING:
            words = f"{suspect.words.rstrip('.')}; {ON_TRACK}"
            return replace(suspect, nature=Nature.UNCERTAIN, words=words)
    return suspect
