"""A story: a board, a camera over it, a supply on it, and what happens; and its run in time."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from thermview.board import BoardView, Landmark, view_of
from thermview.frames import Frame, Scene, SupplySample
from thermview.simulation.camera import Camera, CameraModel
from thermview.simulation.circuit import Circuit
from thermview.simulation.heat import MAX_STEP_S
from thermview.simulation.room import Room
from thermview.simulation.supply import Programme
from thermview.simulation.surface import Surface

Floats = NDArray[np.float64]

SUPPLY_PERIOD_S = 0.1
"""Between the supply's readings."""


class Motion(Protocol):
    """How a hand-held camera moves."""

    def at(self, time_s: float) -> Floats:
        """Return the matrix, shape (3, 3), from the pixels of the view at rest to those now."""
        ...


@dataclass(frozen=True, slots=True)
class WarmSpot:
    """A place that a finger warmed before the start: mm, and K at its middle."""

    x_mm: float
    y_mm: float
    radius_mm: float
    rise_k: float


@dataclass(frozen=True, slots=True)
class Truth:
    """What is wrong with a story's board.

    Attributes
    ----------
    part : str or None
        Designator of the part at fault; None where no listed part is.
    power_on_s : float or None
    power_w : float or None
        What the part at fault turns into heat at the last setting of the supply.
    heated : bool
        Something on the board warms.
    meant_warm : tuple of str
        Healthy parts that warm.
    """

    part: str | None = None
    power_on_s: float | None = None
    power_w: float | None = None
    heated: bool = True
    meant_warm: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Story:
    """What a run needs.

    Attributes
    ----------
    name : str
        Short, as in an address.
    title : str
        For people; says that it is simulated.
    circuit, room, camera, programme
        Board, surroundings, camera and what happens electrically.
    to_pixel : ndarray, shape (3, 3)
        Homography from board mm to the camera's pixels, at rest.
    length_s : float
    motion : Motion or None
    warm_spots : tuple of WarmSpot
    running_before : bool
        The board has been running for so long that its heat has settled.
    truth : Truth
        For those who check.
    """

    name: str
    title: str
    circuit: Circuit
    camera: CameraModel
    programme: Programme
    to_pixel: Floats
    room: Room = field(default_factory=Room)
    length_s: float = 30.0
    motion: Motion | None = None
    warm_spots: tuple[WarmSpot, ...] = ()
    running_before: bool = False
    truth: Truth = field(default_factory=Truth)

    @property
    def view(self) -> BoardView:
        """Return the view at rest."""
        middle = (self.circuit.width_mm / 2, self.circuit.height_mm / 2)
        return view_of(self.to_pixel, middle)

    @property
    def scene(self) -> Scene:
        """Return what the worker would state of the scene."""
        return Scene(emissivity=0.9, reflected_k=self.room.reflected_k, air_k=self.room.ambient_k)

    def sized(self, width_px: int, height_px: int, rate_hz: float) -> Story:
        """Return the same story through the same optics on another sensor."""
        camera = self.camera
        scale = min(width_px / camera.width_px, height_px / camera.height_px)
        shift_u = (width_px - scale * camera.width_px) / 2
        shift_v = (height_px - scale * camera.height_px) / 2
        resize = np.array([[scale, 0.0, shift_u], [0.0, scale, shift_v], [0.0, 0.0, 1.0]])
        return replace(
            self,
            camera=camera.sized(width_px, height_px, rate_hz),
            to_pixel=resize @ self.to_pixel,
        )

    def landmarks(self) -> tuple[Landmark, ...]:
        """Return the circuit's landmarks in the view at rest."""
        pixels = self.view.board_to_pixel(self.circuit.landmarks_mm)
        return tuple(
            Landmark(place, (round(float(u), 2), round(float(v), 2)))
            for place, (u, v) in zip(self.circuit.landmarks_mm, pixels, strict=True)
        )


class Run:
    """One run of a story: frames and supply readings in order of simulated time.

    The same story and seed give the same run. `again` lets the programme start anew after the
    story's length, without end, on the board as warm as it then is.
    """

    def __init__(self, story: Story, seed: int = 0, *, again: bool = False) -> None:
        self.story = story
        self._again = again
        render, camera, self._times, self._readings = (
            np.random.default_rng([seed, stream]) for stream in range(4)
        )
        self.heat = story.circuit.heat_model()
        self.surface = Surface(story.circuit, story.room, render)
        self._camera = Camera(story.camera, self.surface.grid, camera)
        self._tracks = story.circuit.track_shares()
        self._sheet_power: Floats = np.zeros(self.heat.rise_k.shape)
        self._powers: Floats = np.full(story.circuit.places, math.nan)
        self._now_s = 0.0
        self._next_reading_s = 0.0
        self._index = 0
        self._prepare()

    def _prepare(self) -> None:
        """Bring the board to its state at the start."""
        if self.story.running_before:
            self._set_powers(0.0)
            self.heat.settle(self._powers[: len(self.story.circuit.parts)], self._sheet_power)
        x, y = self.story.circuit.grid.centres_mm()
        for spot in self.story.warm_spots:
            far = ((x - spot.x_mm) ** 2 + ((y - spot.y_mm) ** 2)[:, None]) / spot.radius_mm**2
            self.heat.rise_k += spot.rise_k * np.exp(-far)
            for number, part in enumerate(self.story.circuit.parts):
                away = (part.x_mm - spot.x_mm) ** 2 + (part.y_mm - spot.y_mm) ** 2
                self.heat.body_rise_k[number] += spot.rise_k * math.exp(-away / spot.radius_mm**2)

    def _programme_time(self, time_s: float) -> float:
        return math.fmod(time_s, self.story.length_s) if self._again else time_s

    def _set_powers(self, time_s: float) -> None:
        circuit = self.story.circuit
        powers = self.story.programme.powers_w(self._programme_time(time_s), circuit.places)
        if not np.array_equal(powers, self._powers):
            self._powers = powers
            spread = self._tracks.T @ powers[len(circuit.parts) :]
            self._sheet_power = spread.reshape(self.heat.rise_k.shape)

    def _advance(self, to_s: float) -> None:
        """Step the board's heat to a time, its powers taken at the middle of each short step."""
        steps = math.ceil((to_s - self._now_s) / MAX_STEP_S - 1e-9)
        if steps <= 0:
            return
        step_s = (to_s - self._now_s) / steps
        for number in range(steps):
            self._set_powers(self._now_s + (number + 0.5) * step_s)
            bodies = self._powers[: len(self.story.circuit.parts)]
            self.heat.advance(step_s, bodies, self._sheet_power)
        self._now_s = to_s

    @property
    def next_time_s(self) -> float:
        """Return the nominal time of the next frame."""
        return self._index / self.story.camera.rate_hz

    @property
    def ended(self) -> bool:
        """Tell whether the story is over."""
        return not self._again and self.next_time_s >= self.story.length_s - 1e-9

    def frame(self) -> Frame:
        """Return the next frame."""
        model = self.story.camera
        jitter = float(np.clip(self._times.normal(0.0, model.jitter_s), -0.01, 0.01))
        limit = 0.2 / model.rate_hz  # so that times increase
        time_s = max(0.0, self.next_time_s + min(max(jitter, -limit), limit))
        self._advance(time_s)
        counts = self._camera.held(time_s)
        held = counts is not None
        if counts is None:
            to_pixel = self.story.to_pixel
            if self.story.motion is not None:
                to_pixel = self.story.motion.at(time_s) @ to_pixel
            counts = self._camera.expose(self.surface.radiance(self.heat, time_s), to_pixel, time_s)
        shutter = held and model.says_shutter
        frame = Frame(counts, time_s, self._index, model.scale, shutter=shutter)
        self._index += 1
        return frame

    def supply(self) -> list[SupplySample]:
        """Return the supply's readings since the last call, up to the last frame."""
        samples = []
        while self._next_reading_s <= self._now_s:
            time_s = self._next_reading_s
            volts, amps = self.story.programme.terminals(self._programme_time(time_s))
            noise = self._readings.normal(0.0, 1.0, 2)
            volts = round(max(0.0, volts + 0.002 * float(noise[0])), 3)
            amps = round(max(0.0, amps + 0.0005 * float(noise[1])), 4)
            samples.append(SupplySample(time_s, volts, amps))
            self._next_reading_s = round(time_s + SUPPLY_PERIOD_S, 6)
        return samples

    def frames(self) -> Iterator[Frame]:
        """Yield the frames that are left."""
        while not self.ended:
            yield self.frame()


def look(
    circuit: Circuit,
    camera: CameraModel,
    *,
    filling: float = 0.9,
    turn_deg: float = 0.0,
    tilt: tuple[float, float] = (0.0, 0.0),
    shift_px: tuple[float, float] = (0.0, 0.0),
) -> Floats:
    """Return the homography from board mm to pixels of a camera over the board's middle.

    `filling` is the share of the picture that the board fills along its tighter side; `tilt` is
    the change of scale across the board, as a share, along x and y.
    """
    scale = filling * min(camera.width_px / circuit.width_mm, camera.height_px / circuit.height_mm)
    angle = math.radians(turn_deg)
    cos, sin = scale * math.cos(angle), scale * math.sin(angle)
    at_u = camera.width_px / 2 + shift_px[0]
    at_v = camera.height_px / 2 + shift_px[1]
    centre = np.array(
        [[1.0, 0.0, -circuit.width_mm / 2], [0.0, 1.0, -circuit.height_mm / 2], [0.0, 0.0, 1.0]]
    )
    lean = np.eye(3)
    lean[2, :2] = tilt[0] / circuit.width_mm, tilt[1] / circuit.height_mm
    turn = np.array([[cos, -sin, 0.0], [-sin, -cos, 0.0], [0.0, 0.0, 1.0]])
    place = np.array([[1.0, 0.0, at_u], [0.0, 1.0, at_v], [0.0, 0.0, 1.0]])
    matrix: Floats = place @ turn @ lean @ centre
    return matrix
