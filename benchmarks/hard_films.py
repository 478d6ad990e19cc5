"""How a camera sees a board warm up: view, blur, noise, drift, shutter, hands, a changing room.

Apart from the program's simulated camera. All of it is simulated.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from hard_boards import CELL_MM, FINE, smooth_field
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Pictures = NDArray[np.float32]

SHAPES = ((120, 160), (120, 160), (192, 256), (192, 256), (240, 320), (288, 384))
RATES_FPS = (8.0, 9.0, 15.0, 25.0, 30.0)
MOST_PIXELS = 55e6  # of a whole film, to keep the trials quick
RENDER_MM = CELL_MM / FINE
HAND_K = 10.0
LANDMARK_SIGMA_MM = 0.7
"""Of a landmark along either axis: what the outside example's landmarks are off."""


@dataclass
class Film:
    """One board's recording, what a user would know of it, and the camera that made it."""

    counts: NDArray[np.uint16]
    time_s: Floats
    landmarks: list[tuple[tuple[float, float], tuple[float, float]]]
    on_s: float
    k_per_count: float
    camera: Camera


@dataclass
class Scene:
    """What stands before the camera.

    Attributes
    ----------
    emissivity, index : ndarray, shape (row, column)
        Of each render cell; the part's number, 0 the board.
    times_s, rises_k : ndarray
        Since power-on; of all nodes, the sheet's cells first.
    sheet : (rows, columns)
    """

    emissivity: Pictures
    index: NDArray[np.int32]
    times_s: Floats
    rises_k: Pictures
    sheet: tuple[int, int]

    def surface(self, since_s: float) -> Pictures:
        """Return the rise of every render cell, K."""
        ny, nx = self.sheet
        if since_s <= 0:
            return np.zeros(self.index.shape, np.float32)
        at = int(np.clip(np.searchsorted(self.times_s, since_s), 1, len(self.times_s) - 1))
        before, after = self.times_s[at - 1], self.times_s[at]
        f = np.float32(min(1.0, (since_s - before) / (after - before)))
        rise = (1 - f) * self.rises_k[at - 1] + f * self.rises_k[at]
        sheet = cv2.resize(rise[: ny * nx].reshape(ny, nx), self.index.shape[::-1])
        body = np.concatenate([[np.float32(0)], rise[ny * nx :]])[self.index]
        return np.asarray(np.where(self.index > 0, body, sheet), np.float32)


@dataclass
class Room:
    """What is mirrored, and what changes in the room; K, s.

    A warm hand is mirrored for a while, or comes into the picture at its edge.
    """

    mirrored: Pictures
    step_k: float
    step_s: float
    hand_s: tuple[float, float]
    hand_at: tuple[float, float]  # shares of the width and height
    covers: bool

    @classmethod
    def drawn(cls, rng: np.random.Generator, shape: tuple[int, int], seconds: float) -> Room:
        """Draw a room: half of them still."""
        mirrored = (0.3 * smooth_field(rng, shape, 4)).astype(np.float32) + rng.uniform(-1, 2)
        step_k = float(rng.normal(0, 0.7)) if rng.random() < 0.3 else 0.0
        step_s = float(rng.uniform(0, seconds))
        begun = float(rng.uniform(0, seconds))
        stays = float(rng.uniform(1.5, 5.0)) if rng.random() < 0.3 else 0.0
        edge = float(rng.choice([0.0, 1.0]))
        at = (edge, float(rng.random())) if rng.random() < 0.5 else (float(rng.random()), edge)
        covers = bool(rng.random() < 0.3)
        return cls(mirrored, step_k, step_s, (begun, begun + stays), at, covers)

    def stepped_k(self, now_s: float, lag_s: float) -> float:
        """Return what the room's step has done to what follows it with a lag."""
        return self.step_k * -float(np.expm1(-max(now_s - self.step_s, 0.0) / lag_s))

    def hand(self, now_s: float, shape: tuple[int, int]) -> Pictures | None:
        """Return the hand's outline, 0 to 1, at a moment; None where there is none."""
        begun, over = self.hand_s
        if not begun < now_s < over:
            return None
        rows, columns = shape
        deep = np.sin(np.pi * (now_s - begun) / (over - begun))
        mask = np.zeros(shape, np.float32)
        centre = (round(self.hand_at[0] * columns), round(self.hand_at[1] * rows))
        arms = (round(0.13 * columns * deep), round(0.2 * rows * deep))
        cv2.ellipse(mask, centre, arms, 0.0, 0.0, 360.0, 1.0, -1)
        return np.asarray(cv2.GaussianBlur(mask, (0, 0), 2.0), np.float32)


@dataclass
class Camera:
    """A camera and where it stands.

    Attributes
    ----------
    view : ndarray, shape (3, 3)
        From mm on the board (y up) to pixels.
    scale : float
        Pixels per mm, about.
    """

    shape: tuple[int, int]
    fps: float
    seconds: float
    view: Floats
    scale: float
    blur_px: float
    netd_k: float
    k_per_count: float

    @classmethod
    def drawn(cls, rng: np.random.Generator, size_mm: tuple[float, float]) -> Camera:
        """Draw a camera that has all of a board in view, turned by quarters, aslant."""
        shape = SHAPES[int(rng.integers(len(SHAPES)))]
        seconds = float(rng.uniform(17, 60))
        pixels = shape[0] * shape[1] * seconds
        fps = float(rng.choice([f for f in RATES_FPS if f * pixels < MOST_PIXELS] or [8.0]))
        rows, columns = shape
        quarter = int(rng.choice([0, 0, 1, 2, 3]))
        width, height = size_mm if quarter % 2 == 0 else size_mm[::-1]
        room = 1 - 2 * rng.uniform(0.05, 0.12)
        scale = float(min(columns * room / width, rows * room / height))
        angle = np.deg2rad(rng.uniform(-4, 4)) + np.pi / 2 * quarter
        spin = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
        half = scale * np.array(size_mm) / 2
        corners = np.array([(-1, 1), (1, 1), (1, -1), (-1, -1)]) * half
        off = rng.uniform(-0.035, 0.035, (4, 2)) * columns
        target = (corners @ spin.T + [columns / 2, rows / 2] + off).astype(np.float32)
        (w, h) = size_mm
        board = np.array([[0, 0], [w, 0], [w, h], [0, h]], np.float32)
        view = cv2.getPerspectiveTransform(board, target).astype(np.float64)
        blur_px, netd_k = float(rng.uniform(0.4, 1.2)), float(rng.uniform(0.025, 0.09))
        k_per_count = float(rng.choice([0.01, 0.015625, 0.025, 0.04]))
        return cls(shape, fps, seconds, view, scale, blur_px, netd_k, k_per_count)

    def landmarks(
        self, rng: np.random.Generator, size_mm: tuple[float, float]
    ) -> list[tuple[tuple[float, float], tuple[float, float]]]:
        """Return five landmarks, off as clicked ones are."""
        w, h = size_mm
        found = []
        for x, y in ((5.0, 5.0), (w - 5, 5.0), (w - 5, h - 5), (5.0, h - 5), (w / 2, h / 2)):
            seen = self.view @ [x, y, 1]
            u, v = seen[:2] / seen[2] + rng.normal(0, LANDMARK_SIGMA_MM * self.scale, 2)
            found.append(((float(x), float(y)), (float(u), float(v))))
        return found

    def project(self, surface: Pictures, border: float) -> Pictures:
        """Return what the lens makes of the board's surface."""
        to_mm = np.array([[RENDER_MM, 0, RENDER_MM / 2], [0, RENDER_MM, RENDER_MM / 2], [0, 0, 1]])
        centres = np.array([[1, 0, -0.5], [0, 1, -0.5], [0, 0, 1.0]])
        rows, columns = self.shape
        softer = max(0.3, 0.5 * self.blur_px / (self.scale * RENDER_MM))
        picture = cv2.warpPerspective(
            cv2.GaussianBlur(surface, (0, 0), softer),
            centres @ self.view @ to_mm,
            (columns, rows),
            borderValue=border,
        )
        return np.asarray(cv2.GaussianBlur(picture, (0, 0), 0.75 * self.blur_px), np.float32)


class _Drift:
    """What the sensor adds: fixed pattern, wandering offsets and shadings, steps at the shutter."""

    def __init__(self, rng: np.random.Generator, camera: Camera, times_s: Floats) -> None:
        shape = camera.shape
        self.rng, self.shape = rng, shape
        self.fields = [np.ones(shape, np.float32)]
        self.fields += [smooth_field(rng, shape, cells) for cells in (2, 3, 4)]
        per_frame = np.array([0.015, 0.01, 0.0075, 0.0075]) / np.sqrt(camera.fps)
        self.courses = np.cumsum(rng.normal(size=(len(times_s), 4)) * per_frame, axis=0)
        self.courses += times_s[:, None] * rng.normal(0, 0.004, 4)
        self.offset = rng.normal(0, 0.03, shape) + rng.normal(0, 0.04, shape[1])
        self.shutter_s = float(rng.uniform(5, 60)) if rng.random() < 0.3 else np.inf
        self.held_until_s = -1.0

    def at(self, frame: int, now_s: float) -> Floats | None:
        """Return what is added to a frame, K; None while the shutter holds the picture."""
        if now_s >= self.shutter_s:
            self.shutter_s, self.held_until_s = np.inf, now_s + 0.4
            self.offset = self.offset + self.rng.normal(0, 0.25)
            self.offset = self.offset + 0.05 * smooth_field(self.rng, self.shape, 3)
        if frame and now_s < self.held_until_s:
            return None
        whole = self.offset.copy()
        for size, field in zip(self.courses[frame], self.fields, strict=True):
            whole += size * field
        return np.asarray(whole)


def film_board(
    rng: np.random.Generator, camera: Camera, scene: Scene, size_mm: tuple[float, float]
) -> Film:
    """Film a board's warm-up."""
    times_s = np.arange(int(camera.seconds * camera.fps)) / camera.fps
    on_s = float(rng.uniform(1.0, 8.0))
    room = Room.drawn(rng, scene.index.shape, camera.seconds)
    drift = _Drift(rng, camera, times_s)
    ambient = float(rng.uniform(289, 301))
    sheen = 1 - scene.emissivity
    border = float(room.mirrored.mean() * 0.3)
    counts = np.empty((len(times_s), *camera.shape), np.uint16)
    for k, now_s in enumerate(times_s.tolist()):
        added = drift.at(k, now_s)
        if added is None:
            counts[k] = counts[k - 1]
            continue
        mirrored = room.mirrored + np.float32(room.stepped_k(now_s, 2.0))
        hand = room.hand(now_s, scene.index.shape)
        if hand is not None:
            mirrored = mirrored + np.float32(HAND_K) * hand
        warmth = scene.surface(now_s - on_s) + np.float32(room.stepped_k(now_s, 150.0))
        picture = camera.project(scene.emissivity * warmth + sheen * mirrored, border)
        covering = room.hand(now_s, camera.shape) if room.covers else None
        if covering is not None:
            picture = (1 - covering) * picture + covering * np.float32(HAND_K)
        kelvin = ambient + picture + added + rng.normal(0, camera.netd_k, camera.shape)
        counts[k] = np.clip(np.round(kelvin / camera.k_per_count), 0, 65535)
    return Film(counts, times_s, camera.landmarks(rng, size_mm), on_s, camera.k_per_count, camera)
