"""Hard cases without number: random boards, faults, cameras and disturbances, with the truth.

`random_story(seed, kind)` makes one; `film` computes it. Constants differ from case to case
(copper from none to planes, film, bodies, camera), so that a method cannot lean on one board.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from thermview.board import Landmark, Part
from thermview.frames import Scale, SupplyLog
from thermview.simulation.anatomy import Kind, kind_of
from thermview.simulation.camera import CameraModel
from thermview.simulation.circuit import Circuit, Track
from thermview.simulation.motion import Shake
from thermview.simulation.random_board import random_circuit
from thermview.simulation.room import Hand, Room
from thermview.simulation.story import Run, Story, Truth, WarmSpot, look
from thermview.simulation.supply import BenchSupply, Draw, FedRail, RunningBoard, Setting

LENGTH_S = 14.0


@dataclass(frozen=True, slots=True, eq=False)
class Film:
    """A computed trial.

    Attributes
    ----------
    counts : ndarray of uint16, shape (frame, row, column)
    times_s : ndarray, shape (frame,)
    shutter : ndarray of bool, shape (frame,)
        As far as the camera tells.
    scale : Scale
    supply : SupplyLog or None
    parts : tuple of Part
    landmarks : tuple of Landmark
        In the view of the first frame.
    truth : Truth
    """

    counts: NDArray[np.uint16]
    times_s: NDArray[np.float64]
    shutter: NDArray[np.bool_]
    scale: Scale
    supply: SupplyLog | None
    parts: tuple[Part, ...]
    landmarks: tuple[Landmark, ...]
    truth: Truth


def film(story: Story, seed: int = 0, *, supply_log: bool = True) -> Film:
    """Compute a story from start to end."""
    run = Run(story, seed)
    model = story.camera
    count = int(np.ceil(story.length_s * model.rate_hz - 1e-9))
    counts = np.empty((count, model.height_px, model.width_px), dtype=np.uint16)
    times, shutter = np.empty(count), np.empty(count, dtype=np.bool_)
    samples = []
    for number, frame in enumerate(run.frames()):
        counts[number] = frame.counts
        times[number], shutter[number] = frame.time_s, frame.shutter
        samples += run.supply()
    return Film(
        counts=counts,
        times_s=times,
        shutter=shutter,
        scale=model.scale,
        supply=SupplyLog.of(samples) if supply_log else None,
        parts=story.circuit.parts,
        landmarks=story.landmarks(),
        truth=story.truth,
    )


def random_film(seed: int, kind: str) -> Film:
    """Compute a random trial; one in three comes without the supply's log."""
    rng = np.random.default_rng([seed, 99])
    return film(random_story(seed, kind), seed, supply_log=bool(rng.random() > 1 / 3))


def random_story(seed: int, kind: str) -> Story:
    """Return a random story of a kind (a key of `KINDS`); the same seed gives the same story."""
    stream = list(KINDS).index(kind)
    draft = Draft(np.random.default_rng([seed, stream]))
    return KINDS[kind](draft)


class Draft:
    """A random board under a random camera in a random room; kinds fill in the rest."""

    def __init__(self, rng: np.random.Generator) -> None:
        self.rng = rng
        self.circuit = random_circuit(rng)
        self.on_s = float(rng.uniform(3.0, 4.5))
        low, high = (-10.0, 2.0)
        ambient = float(rng.uniform(293.0, 300.0))
        reflected = ambient + float(rng.uniform(low, high))
        self.room = Room(ambient, reflected, float(rng.uniform(-1, 1)))
        self.camera = CameraModel(
            rate_hz=12.5,
            netd_k=self.uniform(0.03, 0.09),
            spread_px=self.uniform(0.4, 0.8),
            scale=Scale(0.01 if rng.random() < 0.5 else 1 / 64),
            pattern_k=self.uniform(0.02, 0.15),
            drift_k=self.between(0.02, 0.2),
            drift_s=self.between(4.0, 40.0),
            uneven=self.uniform(0.2, 1.0),
        )
        if rng.random() < 0.25:
            self.room = replace(self.room, hand=self.hand())
        self.spots = self._spots() if rng.random() < 0.5 else ()

    def uniform(self, low: float, high: float) -> float:
        """Draw evenly."""
        return float(self.rng.uniform(low, high))

    def between(self, low: float, high: float) -> float:
        """Draw evenly on a logarithmic scale."""
        return float(np.exp(self.rng.uniform(np.log(low), np.log(high))))

    def _spots(self) -> tuple[WarmSpot, ...]:
        """Return places that a finger has warmed."""
        board = self.circuit
        return tuple(
            WarmSpot(
                self.uniform(10, board.width_mm - 10),
                self.uniform(10, board.height_mm - 10),
                self.uniform(5, 9),
                self.uniform(0.2, 1.5),
            )
            for _ in range(self.rng.integers(1, 4))
        )

    def culprit(self) -> int:
        """Choose a part that shorts: capacitors and chips mostly."""
        share = {Kind.CERAMIC_CAPACITOR: 3.0, Kind.TANTALUM: 6.0, Kind.CHIP: 3.0}
        share |= {Kind.POWER_CHIP: 4.0, Kind.RESISTOR: 0.3, Kind.CAN_CAPACITOR: 1.0}
        weights = np.array([share.get(kind_of(p), 0.0) for p in self.circuit.parts])
        return int(self.rng.choice(len(weights), p=weights / weights.sum()))

    def fed(
        self, power_w: float, culprit: int | None, *, period_s: float | None = None, others: int = 0
    ) -> FedRail:
        """Return a programme in which the culprit ends with a power, the current limited."""
        short_ohm = self.between(0.05, 5.0)
        amps = float(np.sqrt(power_w / short_ohm))
        drawing = self.rng.choice(len(self.circuit.parts), others, replace=False)
        loads = tuple(
            (int(i), short_ohm / self.uniform(0.05, 0.5)) for i in drawing if i != culprit
        )
        tracks = ((len(self.circuit.parts), 0.06 * short_ohm),) if self.circuit.tracks else ()
        path_ohm = short_ohm + sum(ohm for _, ohm in tracks)
        total = amps * (1 + sum(path_ohm / ohm for _, ohm in loads))
        lead_ohm = self.uniform(0.03, 0.3)
        ceiling_v = 1.3 * total * (lead_ohm + path_ohm)
        steps = int(self.rng.integers(1, 4)) if period_s is None else 1
        settings = tuple(
            Setting(self.on_s + 2.5 * i, ceiling_v, total * ((i + 1) / steps) ** 0.5)
            for i in range(steps)
        )
        supply = BenchSupply(settings, period_s)
        return FedRail(supply, culprit, short_ohm, lead_ohm, tracks, loads)

    def story(self, kind: str, programme: FedRail | RunningBoard, truth: Truth) -> Story:
        """Return the story of a programme on the draft's board, seen by its camera."""
        camera = self.camera
        to_pixel = look(
            self.circuit,
            camera,
            filling=self.uniform(0.82, 0.93),
            turn_deg=self.uniform(-3, 3),
            tilt=(self.uniform(-0.03, 0.03), self.uniform(-0.03, 0.03)),
            shift_px=(self.uniform(-3, 3), self.uniform(-3, 3)),
        )
        return Story(
            name=kind,
            title=f"random board, {kind} (simulated)",
            circuit=self.circuit,
            camera=camera,
            programme=programme,
            to_pixel=to_pixel,
            room=self.room,
            length_s=LENGTH_S,
            warm_spots=self.spots,
            truth=replace(truth, power_on_s=self.on_s),
        )

    def short(self, kind: str, low_w: float, high_w: float, *, others: int = 0) -> Story:
        """Return the story of one shorted part that ends between two powers."""
        culprit, power_w = self.culprit(), self.between(low_w, high_w)
        programme = self.fed(power_w, culprit, others=others)
        truth = Truth(self.circuit.parts[culprit].designator, power_w=power_w)
        return self.story(kind, programme, truth)

    def hand(self) -> Hand:
        """Return a hand that crosses the shiny parts before, during or after the step."""
        board = self.circuit
        shiny = [p for p in board.parts if kind_of(p) in (Kind.CRYSTAL, Kind.CAN_CAPACITOR)]
        target = shiny[int(self.rng.integers(len(shiny)))]
        begin = self.uniform(0.5, 9.0)
        stay = self.uniform(1.0, 9.0)
        away = 320.0 if self.rng.random() < 0.5 else -320.0
        path = (
            (begin, away, target.y_mm),
            (begin + 0.8, target.x_mm + self.uniform(-20, 20), target.y_mm),
            (begin + 0.8 + stay, target.x_mm + self.uniform(-20, 20), target.y_mm + 10.0),
            (begin + 1.6 + stay, away, target.y_mm),
        )
        return Hand(path, kelvin=self.uniform(303.0, 307.5), tremor_mm=self.uniform(1, 6))

    def shake(self, shift_px: float, turn_deg: float, near: float) -> Shake:
        """Return a random motion of the camera; see `Shake.random`."""
        centre = (self.camera.width_px / 2, self.camera.height_px / 2)
        return Shake.random(self.rng, centre, shift_px, turn_deg, near)


def _mirror(draft: Draft) -> Story:
    draft.room = replace(draft.room, hand=draft.hand())
    return draft.short("mirror", 0.01, 0.06)


def _handheld(draft: Draft) -> Story:
    told = draft.short("handheld", 0.02, 0.06)
    return replace(told, motion=draft.shake(draft.uniform(0.5, 1.5), 0.1, 0.002))


def _shaky(draft: Draft) -> Story:
    told = draft.short("shaky", 0.04, 0.15)
    shake = draft.shake(
        draft.uniform(2.0, 5.0), draft.uniform(0.3, 1.0), draft.uniform(0.005, 0.02)
    )
    return replace(told, motion=shake)


def _shutter(draft: Draft) -> Story:
    closes = np.sort(draft.rng.uniform(1.0, 13.0, draft.rng.integers(1, 4)))
    apart = closes[np.diff(closes, prepend=-9.0) > 1.0]
    draft.camera = replace(
        draft.camera,
        shutter_times_s=tuple(float(t) for t in apart),
        shutter_step_k=draft.uniform(0.1, 0.6),
        says_shutter=bool(draft.rng.random() < 0.6),
    )
    return draft.short("shutter", 0.006, 0.02)


def _running(draft: Draft) -> Story:
    """A board powered at its own input; healthy parts turn many times the culprit's power."""
    parts = draft.circuit.parts
    able = [i for i, p in enumerate(parts) if kind_of(p) in (Kind.CHIP, Kind.POWER_CHIP)]
    able += [i for i, p in enumerate(parts) if kind_of(p) in (Kind.RELAY, Kind.INDUCTOR)]
    count = int(draft.rng.integers(4, min(10, len(able))))
    healthy = [int(i) for i in draft.rng.choice(able, count, replace=False)]
    culprit = draft.culprit()
    while culprit in healthy:
        culprit = draft.culprit()
    power_w = draft.between(0.03, 0.06)
    draws = tuple(Draw(i, draft.between(0.05, 0.6), draft.uniform(0, 0.5)) for i in healthy)
    supply = BenchSupply((Setting(draft.on_s, draft.uniform(5, 24), 3.0),))
    programme = RunningBoard(supply, (*draws, Draw(culprit, power_w)), draft.uniform(0, 2))
    warm = tuple(parts[i].designator for i in healthy)
    return draft.story(
        "running", programme, Truth(parts[culprit].designator, None, power_w, meant_warm=warm)
    )


def _small_camera(draft: Draft) -> Story:
    draft.camera = replace(draft.camera, width_px=160, height_px=120)
    return draft.short("small camera", 0.002, 0.006)


def _crowded(draft: Draft) -> Story:
    draft.circuit = random_circuit(draft.rng, row=True)
    in_row = [i for i, p in enumerate(draft.circuit.parts) if p.value == "in a row"]
    culprit = int(draft.rng.choice(in_row))
    power_w = draft.between(0.008, 0.03)
    truth = Truth(draft.circuit.parts[culprit].designator, power_w=power_w)
    return draft.story("crowded", draft.fed(power_w, culprit), truth)


def _pulsed(draft: Draft) -> Story:
    culprit, power_w = draft.culprit(), draft.between(0.001, 0.0025)
    draft.on_s = 2.0
    programme = draft.fed(power_w, culprit, period_s=draft.uniform(1.0, 3.0))
    truth = Truth(draft.circuit.parts[culprit].designator, power_w=power_w)
    return replace(draft.story("pulsed", programme, truth), length_s=40.0)


def _quiet(draft: Draft) -> Story:
    """Nothing in view warms: current into the leads or none; hand, motion and shutter at random."""
    rng = draft.rng
    draft.circuit = replace(draft.circuit, tracks=())
    if rng.random() < 0.3:
        draft.room = replace(draft.room, hand=draft.hand())
    if rng.random() < 0.3:
        closes = (draft.uniform(1.0, 12.0),)
        draft.camera = replace(draft.camera, shutter_times_s=closes, says_shutter=False)
    feed = draft.between(0.01, 0.5) if rng.random() < 0.6 else 1e-9
    told = draft.story("quiet", draft.fed(feed, None), Truth(heated=False))
    if rng.random() < 0.3:
        told = replace(told, motion=draft.shake(draft.uniform(0.3, 1.0), 0.05, 0.001))
    return told


def _far_side(draft: Draft) -> Story:
    """The culprit is on the board's other side: broad heat on no listed part."""
    told = draft.short("far side", 0.05, 0.3)
    parts = tuple(
        replace(p, side="bottom") if p.designator == told.truth.part else p
        for p in told.circuit.parts
    )
    return replace(told, circuit=replace(told.circuit, parts=parts))


def _track(draft: Draft) -> Story:
    """A track that glows, towards a short out of view."""
    board = draft.circuit
    x, y = draft.uniform(20, board.width_mm - 20), draft.uniform(20, board.height_mm - 20)
    corners = ((0.0, y), (x, y), (x, board.height_mm if y > board.height_mm / 2 else 0.0))
    draft.circuit = replace(board, tracks=(Track(corners, draft.uniform(0.4, 1.5)),))
    power_w = draft.between(0.1, 0.8)
    fed = draft.fed(power_w, None)
    place = len(board.parts)
    return draft.story("track", replace(fed, tracks=((place, fed.short_ohm),)), Truth())


def random_pair(seed: int) -> tuple[Story, Story]:
    """Return a good and a bad board of one model, powered up; the bad one's truth names a part.

    Healthy parts differ by some 10 %; views, ambients and cameras' patterns differ.
    """
    draft = Draft(np.random.default_rng([seed, 1000]))
    rng, parts = draft.rng, draft.circuit.parts
    able = [i for i, p in enumerate(parts) if kind_of(p) in (Kind.CHIP, Kind.POWER_CHIP)]
    healthy = [int(i) for i in rng.choice(able, min(len(able), 8), replace=False)]
    watts = {i: draft.between(0.05, 0.6) for i in healthy}
    stories = []
    for bad in (False, True):
        other = {i: w * float(rng.normal(1.0, 0.06)) for i, w in watts.items()}
        if bad:
            other[healthy[0]] = 0.0
        supply = BenchSupply((Setting(draft.on_s, 12.0, 3.0),))
        programme = RunningBoard(supply, tuple(Draw(i, w) for i, w in other.items()))
        truth = Truth(parts[healthy[0]].designator if bad else None, power_w=0.0 if bad else None)
        told = draft.story("bad of a pair" if bad else "good of a pair", programme, truth)
        warmer = draft.uniform(-1, 1)
        room = replace(draft.room, ambient_k=draft.room.ambient_k + warmer)
        stories.append(replace(told, room=room))
    return stories[0], stories[1]


KINDS: dict[str, Callable[[Draft], Story]] = {
    "strong": lambda draft: draft.short("strong", 0.02, 1.5),
    "faint": lambda draft: draft.short("faint", 0.0012, 0.003),
    "mirror": _mirror,
    "handheld": _handheld,
    "shaky": _shaky,
    "shutter": _shutter,
    "others": lambda draft: draft.short("others", 0.02, 0.2, others=4),
    "running": _running,
    "small camera": _small_camera,
    "crowded": _crowded,
    "pulsed": _pulsed,
    "quiet": _quiet,
    "far side": _far_side,
    "track": _track,
}
"""Kinds of trials and what makes each."""


def random_board(seed: int) -> Circuit:
    """Return a random board."""
    return random_circuit(np.random.default_rng(seed))
