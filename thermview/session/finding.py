"""Which stretch of a session tells which part dissipates, and the answer from it.

One cycle of the power is looked at, the newest: some seconds before it comes on, and as long
after as evidence grows. That bounds the work however long a session lasts.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass, replace
from enum import Enum
from itertools import pairwise
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from thermview.analysis.heat.locate import Located, Place, Suspect, locate
from thermview.analysis.prepare import Progress
from thermview.analysis.tracker import warped
from thermview.analysis.waveform import pulse_period
from thermview.board import BoardView, view_of
from thermview.frames import Footage, Mark, MarkKind, SupplyLog
from thermview.regions.carried import mapped
from thermview.session.boards import Board
from thermview.session.following import Poses
from thermview.session.meant_warm import Warm, covers
from thermview.session.power import is_on
from thermview.session.stretch import Stretch

BEFORE_S = 20.0
AFTER_S = 90.0
PULSED_S = 240.0
UNTOLD_S = 60.0
"""Of a live session without any sign of power so much is looked at, the newest."""
LEAST_BEFORE_S = 0.8
LEAST_AFTER_S = 2.0
LEAST_S = 6.0
WHOLLY = 0.9
"""A pixel is on a matt patch where so much of it is."""
OFF_S = 2.0
"""A supply that was off for so long begins a new cycle."""


Found = TypeVar("Found", Suspect, Place)


class Lack(Enum):
    """Why there is no answer (yet)."""

    NOT_ENOUGH = "not enough has been seen yet"
    NO_BASELINE = "it begins with the board running"
    BRIGHTNESS = "brightness only, no temperatures"


@dataclass(frozen=True, slots=True)
class Window:
    """The stretch to look at, s, and what is known of the power.

    `power_on_s` is None where only the frames may tell; `marked` where the user's mark says so.
    """

    start_s: float
    end_s: float
    power_on_s: float | None = None
    period_s: float | None = None
    marked: bool = False

    @property
    def question(self) -> tuple[object, ...]:
        """Return what makes it another question rather than the same with more pictures."""
        return (self.power_on_s, self.period_s, self.marked)


@dataclass(frozen=True, slots=True)
class Cycle:
    """When the power came on and (None: not yet) went off, s; the period of a pulsed supply."""

    on_s: float
    off_s: float | None = None
    period_s: float | None = None
    marked: bool = False


def power_cycle(marks: Iterable[Mark], supply: SupplyLog | None) -> Cycle | None:
    """Return the newest cycle of the power: by the user's marks, else by the supply's log.

    None where neither shows the power coming on.
    """
    told = [m for m in marks if m.kind in (MarkKind.POWER_ON, MarkKind.POWER_OFF)]
    ons = [m.time_s for m in told if m.kind is MarkKind.POWER_ON]
    logged = _logged_cycle(supply)
    if ons and (logged is None or max(ons) >= logged.on_s - OFF_S):
        on_s = max(ons)
        offs = [m.time_s for m in told if m.kind is MarkKind.POWER_OFF and m.time_s > on_s]
        return Cycle(on_s, min(offs, default=None), marked=True)
    return logged


def power_ups(marks: Iterable[Mark], supply: SupplyLog | None) -> list[Cycle]:
    """Return every time the power came on, in order; each ends at the next at the latest.

    The user's marks and the supply's log together; one and the same told by both counts once.
    """
    told = sorted(
        (m for m in marks if m.kind in (MarkKind.POWER_ON, MarkKind.POWER_OFF)),
        key=lambda mark: mark.time_s,
    )
    on_s = [m.time_s for m in told if m.kind is MarkKind.POWER_ON]
    off_s = [m.time_s for m in told if m.kind is MarkKind.POWER_OFF]
    marked = set(on_s)
    logged = _logged_cycle(supply)
    if supply is not None and logged is not None and logged.period_s is None:
        rises, falls = _switched(supply)
        begun = _begins(rises, falls) or [logged.on_s]
        on_s += [one for one in begun if all(abs(one - other) > OFF_S for other in marked)]
        off_s += [float(t) for t in falls if not np.any((rises > t) & (rises - t < OFF_S))]
    on_s.sort()
    found = []
    for start, after in pairwise([*on_s, float("inf")]):
        ends = [time for time in (*off_s, after) if start < time <= after]
        last = max((t for t in ends if t < after), default=after)
        end = last if np.isfinite(last) else None
        found.append(Cycle(start, end, marked=start in marked))
    return found


def _switched(supply: SupplyLog) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return when the log shows the power coming on and going off, s."""
    times_s, on = supply.time_s, is_on(supply)
    return times_s[1:][on[1:] & ~on[:-1]], times_s[1:][~on[1:] & on[:-1]]


def _begins(rises: NDArray[np.float64], falls: NDArray[np.float64]) -> list[float]:
    """Return the rises that come after the power was off for long."""
    return [
        float(rise) for rise in rises if not (earlier := falls[falls < rise]).size
        or rise - earlier[-1] >= OFF_S
    ]  # fmt: skip


def _logged_cycle(supply: SupplyLog | None) -> Cycle | None:
    if supply is None or len(supply) < 2 or not np.nanmax(supply.voltage_v) > 0:
        return None
    rises, falls = _switched(supply)
    if not rises.size:
        return None
    period_s = pulse_period(supply.time_s, is_on(supply))
    if period_s is not None:
        return Cycle(float(rises[0]), None, period_s)
    begins = _begins(rises, falls)
    on_s = float(begins[-1] if begins else rises[0])
    # switched off for good only when it stays so; a short gap belongs to the cycle
    off_s = float(falls[-1]) if falls.size and falls[-1] > max(on_s, rises[-1]) else None
    return Cycle(on_s, off_s)


def begins_running(footage: Footage, cycle: Cycle | None) -> bool:
    """Tell whether the board was running before the first frame, so that nothing is a baseline."""
    start_s = float(footage.times_s[footage.first])
    if cycle is not None:
        return cycle.on_s - start_s < LEAST_BEFORE_S
    supply = footage.supply
    if supply is None or len(supply) < 2 or not np.nanmax(supply.voltage_v) > 0:
        return False
    return bool(is_on(supply).all())


def window_of(
    footage: Footage, marks: Iterable[Mark], *, period_s: float | None = None
) -> Window | Lack:
    """Return which stretch to look at, or what is lacking.

    Parameters
    ----------
    footage : Footage
        Complete, or growing.
    marks : iterable of Mark
        The session's.
    period_s : float, optional
        Of a pulsed supply, as the user says; else from the log.
    """
    if footage.info.scale.relative:
        return Lack.BRIGHTNESS
    times_s = footage.times_s
    if len(times_s) - footage.first < 2:
        return Lack.NOT_ENOUGH
    first_s, last_s = float(times_s[footage.first]), float(times_s[-1])
    cycle = power_cycle(marks, footage.supply)
    if begins_running(footage, cycle):
        return Lack.NO_BASELINE
    if last_s - (first_s + LEAST_S if cycle is None else cycle.on_s + LEAST_AFTER_S) < 0:
        return Lack.NOT_ENOUGH
    if cycle is None:
        start_s = max(first_s, last_s - UNTOLD_S) if footage.info.live else first_s
        return Window(start_s, min(last_s, start_s + BEFORE_S + AFTER_S), None, period_s)
    return _window_of_cycle(cycle, first_s, last_s, period_s or cycle.period_s)


def _window_of_cycle(cycle: Cycle, first_s: float, last_s: float, period_s: float | None) -> Window:
    end_s = min(last_s, cycle.on_s + (AFTER_S if period_s is None else PULSED_S))
    if cycle.off_s is not None:
        # a mark says nothing of the power's course behind it, a log does
        end_s = min(end_s, cycle.off_s + (0.0 if cycle.marked else BEFORE_S))
    start_s = max(first_s, cycle.on_s - BEFORE_S)
    return Window(start_s, end_s, cycle.on_s, period_s, cycle.marked)


def find(
    footage: Footage,
    board: Board | None,
    window: Window,
    progress: Progress | None = None,
    *,
    poses: Poses | None = None,
    lead_ohm: float = 0.0,
    matt_patch: NDArray[np.bool_] | None = None,
) -> Located:
    """Answer from a stretch which parts dissipate.

    `matt_patch`, shape (row, column), is a place that the power does not warm; see `locate`. With
    `poses` the board lies where it does in their anchor, and so do the places in the answer.

    Raises
    ------
    InputError
        The frames cannot be had, or too few of them show the scene.
    """
    stretch = Stretch(footage, window.start_s, window.end_s)
    view = board.view if board is not None else None
    way = np.eye(3)
    if poses is not None:
        number = max(int(np.searchsorted(footage.times_s, window.start_s)), footage.first)
        poses.take(number, footage.frame(number))
        _, way = poses.nearest(number)
        view = None if view is None else carried_view(view, way)
        if matt_patch is not None:
            back = np.asarray(np.linalg.inv(way), np.float64)
            matt_patch = warped(matt_patch.astype(np.float32), back) > WHOLLY
    located = locate(
        stretch,
        board.parts if board is not None else (),
        view,
        power_on_s=window.power_on_s if window.marked else None,
        period_s=window.period_s,
        lead_ohm=lead_ohm,
        matt_patch=matt_patch,
        progress=progress,
    )
    return located if poses is None else _carried_back(located, way)


def carried_view(view: BoardView, way: NDArray[np.float64]) -> BoardView:
    """Return how the camera sees a board after the way of its pixels, shape (3, 3)."""
    return view_of(np.asarray(way @ view.matrix), view.centre_mm, view.residual_mm)


def _carried_back(located: Located, way: NDArray[np.float64]) -> Located:
    """Return an answer with its places before the way of the pixels."""
    back = np.asarray(np.linalg.inv(way), np.float64)

    def placed(one: Found) -> Found:
        x_px, y_px = mapped(back, (one.x_px, one.y_px)).tolist()
        moved = replace(one, x_px=x_px, y_px=y_px)
        if isinstance(moved, Place) and moved.path_px:
            course = mapped(back, moved.path_px).tolist()
            return replace(moved, path_px=tuple((x, y) for x, y in course))
        return moved

    return replace(
        located,
        suspects=tuple(map(placed, located.suspects)),
        elsewhere=tuple(map(placed, located.elsewhere)),
        rise_k=warped(located.rise_k, way),
    )


def with_expected(located: Located, meant_warm: Collection[Warm]) -> Located:
    """Return an answer in which what is meant to be warm says so and stands below all else.

    Parts and places each by themselves.
    """
    places = [replace(p, expected=covers(meant_warm, p)) for p in located.elsewhere]
    places.sort(key=lambda place: place.expected)
    told = [replace(s, expected=s.part in meant_warm) for s in located.suspects]
    told.sort(key=lambda suspect: suspect.expected)
    ranked = tuple(replace(s, rank=i + 1) for i, s in enumerate(told))
    return replace(located, suspects=ranked, elsewhere=tuple(places))
