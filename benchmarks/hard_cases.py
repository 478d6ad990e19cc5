"""Hard cases for finding the dissipating part: faults, supplies, heat flow and cameras at random.

`generate(kind, seed)` computes one. All of it is simulated.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
from hard_boards import (
    CELL_MM,
    FINE,
    LARGE,
    Floats,
    Part,
    copper_map,
    place,
    smooth_field,
    smooth_path,
)
from numpy.typing import NDArray
from scipy import sparse

FPS = 12.5
K_PER_COUNT = 0.015625
POWERS_W = {
    "strong": (0.02, 1.5),
    "faint": (0.0012, 0.003),
    "mirror": (0.012, 0.06),
    "handheld": (0.02, 0.06),
    "shaky": (0.04, 0.15),
    "shutter": (0.006, 0.02),
    "rail": (0.02, 0.08),
    "running": (0.03, 0.06),
    "small": (0.002, 0.006),
    "row": (0.008, 0.03),
    "pulsed": (0.001, 0.0025),
}
QUIET = ("quiet", "quiet-hand", "quiet-handheld", "quiet-shutter", "quiet-leads")
KINDS = (*POWERS_W, *QUIET)

Picture = NDArray[np.float32]


@dataclass
class Case:
    """A recording and the truth about it; powers are W, the supply (s, V, A)."""

    kind: str
    seed: int
    counts: NDArray[np.uint16]
    time_s: Floats
    parts: list[Part]
    landmarks: list[tuple[tuple[float, float], tuple[float, float]]]
    supply: tuple[Floats, Floats, Floats] | None
    culprit: str | None
    power_w: float
    on_s: float
    period_s: float | None = None
    meant_warm: list[str] = field(default_factory=list)


@dataclass
class _Story:
    kind: str
    rng: np.random.Generator
    width: float
    height: float
    parts: list[Part]
    row: list[str]
    time_s: Floats
    on_s: float
    period_s: float | None
    culprit: Part | None = None
    meant_warm: list[str] = field(default_factory=list)

    @property
    def seconds(self) -> float:
        return len(self.time_s) / FPS


def generate(kind: str, seed: int) -> Case:
    """Compute a case; the same seed gives the same case."""
    rng = np.random.default_rng([seed, KINDS.index(kind)])
    width, height = float(rng.uniform(80, 125)), float(rng.uniform(60, 90))
    parts, row = place(rng, width, height, kind == "row")
    seconds = rng.uniform(36, 44) if kind == "pulsed" else rng.uniform(13, 15)
    story = _Story(
        kind, rng, width, height, parts, row,
        time_s=np.arange(int(seconds * FPS)) / FPS,
        on_s=float(rng.uniform(2.5, 4.5)),
        period_s=float(rng.choice([1.0, 2.0, 3.0, 4.0])) if kind == "pulsed" else None,
    )  # fmt: skip
    if kind not in QUIET:
        _choose(story)
    drive, supply = _supply(story)
    sheets, tops = _Board(story).run(drive)
    counts, landmarks = _Camera(story).film(sheets, tops)
    culprit = story.culprit
    return Case(
        kind, seed, counts, story.time_s, parts, landmarks, supply,
        culprit=culprit.ref if culprit else None,
        power_w=culprit.power_w if culprit else 0.0,
        on_s=story.on_s,
        period_s=story.period_s,
        meant_warm=story.meant_warm,
    )  # fmt: skip


def _choose(story: _Story) -> None:
    """Choose who dissipates."""
    rng, kind = story.rng, story.kind
    small = [p for p in story.parts if p.package not in LARGE]
    pool = [p for p in small if p.ref in story.row[1:-1]] if story.row else small
    culprit = pool[int(rng.integers(len(pool)))]
    culprit.power_w = float(np.exp(rng.uniform(*np.log(POWERS_W[kind]))))
    story.culprit = culprit
    if kind == "rail":
        others = [i for i, p in enumerate(story.parts) if p in small and p is not culprit]
        for i in rng.choice(others, rng.integers(2, 6), replace=False):
            story.parts[i].power_w = culprit.power_w * float(rng.uniform(0.05, 0.5))
    if kind == "running":
        chips = ("SOIC-8", "TSSOP-14", "LQFP-64", "IND", "SOT-23")
        able = [i for i, p in enumerate(story.parts) if p.package in chips and p is not culprit]
        for i in rng.choice(able, min(len(able), int(rng.integers(4, 8))), replace=False):
            story.parts[i].power_w = float(rng.uniform(0.03, 0.5))
            story.meant_warm.append(story.parts[i].ref)


def _supply(story: _Story) -> tuple[Floats, tuple[Floats, Floats, Floats] | None]:
    """Return the power's course, and the supply's log in two of three cases."""
    rng, t, on_s, period_s = story.rng, story.time_s, story.on_s, story.period_s
    on = (t >= on_s).astype(float)
    if period_s is not None:
        on = np.where(t >= on_s, ((t - on_s) % period_s < period_s / 2).astype(float), 0.0)
    ramp_s = 0.0 if period_s is not None else float(rng.choice([0.0, 0.3, 1.0]))
    drive = np.clip((t - on_s) / ramp_s, 0, 1) if ramp_s else on.copy()
    total = sum(p.power_w for p in story.parts)
    volts = float(rng.choice([0.5, 1.0, 3.3, 5.0]))
    share = float(rng.uniform(0.6, 1.0))
    leads = story.kind == "quiet-leads"
    if not (leads or rng.random() > 1 / 3):
        return drive, None
    watts = total / share if total else (float(rng.uniform(0.02, 0.3)) if leads else 0.0)
    v = volts * on if watts else np.zeros(len(t))
    i = np.where(v > 0, watts / volts * (drive if total else on), 0.0)
    digits = 4 if period_s is not None else 3
    log = (
        t + rng.uniform(-0.02, 0.02),
        np.round(v * rng.normal(1, 0.01, len(t)), 2),
        np.round(i * rng.normal(1, 0.015, len(t)), digits),
    )
    return drive, log


class _Board:
    """Heat on a sheet by explicit steps, bodies by exponentials."""

    def __init__(self, story: _Story) -> None:
        rng = story.rng
        self.story = story
        self.ny, self.nx = int(story.height / CELL_MM), int(story.width / CELL_MM)
        self.kd, self.capacity = copper_map(rng, self.ny, self.nx)
        self.film = float(rng.uniform(8, 16))
        size = np.array([(p.w, p.h, p.height) for p in story.parts]) * 1e-3
        foot = size[:, 0] * size[:, 1]
        count = len(story.parts)
        self.body_c = foot * size[:, 2] * rng.uniform(1.6e6, 3.2e6, count)
        self.body_g = foot * rng.uniform(2000, 9000, count)
        sides = 2 * (size[:, 0] + size[:, 1]) * size[:, 2]
        self.body_film = (foot + sides) * self.film
        self.cells = [self._cell(p) for p in story.parts]
        self.mean = self._means()

    @staticmethod
    def _cell(p: Part) -> tuple[slice, slice]:
        x0, x1 = round((p.x - p.w / 2) / CELL_MM), round((p.x + p.w / 2) / CELL_MM)
        y0, y1 = round((p.y - p.h / 2) / CELL_MM), round((p.y + p.h / 2) / CELL_MM)
        return slice(y0, max(y1, y0 + 1)), slice(x0, max(x1, x0 + 1))

    def _means(self) -> sparse.csr_matrix:
        """Return what takes the mean of a sheet's cells under each part."""
        flat = np.arange(self.ny * self.nx).reshape(self.ny, self.nx)
        under = [flat[cell].ravel() for cell in self.cells]
        counts = np.array([len(cells) for cells in under])
        share = np.repeat(1.0 / np.maximum(counts, 1), counts)
        start = np.concatenate([[0], np.cumsum(counts)])
        return sparse.csr_matrix(
            (share, np.concatenate(under), start), shape=(len(under), self.ny * self.nx)
        )

    def run(self, drive: Floats) -> tuple[Picture, Picture]:
        """Return rises of the sheet and of the bodies, K, per frame."""
        n = len(drive)
        pitch_m = CELL_MM * 1e-3
        fastest = self.kd.max() / self.capacity.min() / pitch_m**2
        substeps = max(1, int(np.ceil(fastest / FPS / 0.2)))
        dt = 1 / FPS / substeps
        fx = 2 / (1 / self.kd[:, 1:] + 1 / self.kd[:, :-1]) / pitch_m**2
        fy = 2 / (1 / self.kd[1:] + 1 / self.kd[:-1]) / pitch_m**2
        loss = self.body_g + self.body_film
        decay = np.exp(-loss / self.body_c * dt)
        powers = np.array([p.power_w for p in self.story.parts])
        spread = self.mean.T.tocsr() / pitch_m**2
        sheet, bodies = self._start()
        sheets = np.empty((n, self.ny, self.nx), np.float32)
        tops = np.empty((n, len(powers)), np.float32)
        sheets[0], tops[0] = sheet, bodies
        for k in range(1, n):
            for _ in range(substeps):
                under = self.mean @ sheet.ravel()
                target = (powers * drive[k] + self.body_g * under) / loss
                new = target + (bodies - target) * decay
                flow = self.body_g * ((bodies + new) / 2 - under)
                bodies = new
                q = -self.film * 1.6 * sheet
                gx, gy = fx * np.diff(sheet, axis=1), fy * np.diff(sheet, axis=0)
                q[:, :-1] += gx
                q[:, 1:] -= gx
                q[:-1] += gy
                q[1:] -= gy
                q += (spread @ flow).reshape(q.shape)
                sheet = sheet + q * dt / self.capacity
            sheets[k], tops[k] = sheet, bodies
        return sheets, tops

    def _start(self) -> tuple[Floats, Floats]:
        """Return the state before power: cold, or warmed by a finger at one place."""
        rng, story = self.story.rng, self.story
        sheet, bodies = np.zeros((self.ny, self.nx)), np.zeros(len(story.parts))
        if rng.random() < 0.4:
            x, y = rng.uniform(10, story.width - 10), rng.uniform(10, story.height - 10)
            yy, xx = np.mgrid[0 : self.ny, 0 : self.nx] * CELL_MM
            away = (xx - x) ** 2 + (yy - y) ** 2
            sheet += rng.uniform(0.3, 2.5) * np.exp(-away / 2 / rng.uniform(3, 6) ** 2)
            bodies += self.mean @ sheet.ravel()
        return sheet, bodies


@dataclass
class _Hand:
    start_s: float
    way: Floats
    stays: bool
    kelvin: float
    size_mm: float

    def seen(self, t: float, xx: Picture, yy: Picture, rng: np.random.Generator) -> Picture | float:
        """Return the reflected temperature that the hand adds, K."""
        s = (t - self.start_s) / 2.5
        a = min(s, 2.0) if self.stays else s
        if s <= 0 or a > 2.0:
            return 0.0
        leg, f = (0, a) if a < 1 else (1, a - 1)
        x, y = self.way[leg] * (1 - f) + self.way[leg + 1] * f + rng.normal(0, 0.4, 2)
        away = (xx - x) ** 2 + (yy - y) ** 2
        seen = min(s * 2, 1) * self.kelvin * np.exp(-away / 2 / self.size_mm**2)
        return np.asarray(seen, np.float32)


class _Camera:
    """Emissivity, reflections, view, motion, drift, shutter and noise."""

    def __init__(self, story: _Story) -> None:
        rng, kind = story.rng, story.kind
        self.story = story
        self.rows, self.cols = (120, 160) if kind == "small" else (192, 256)
        self.fine_mm = CELL_MM / FINE
        ny, nx = int(story.height / CELL_MM) * FINE, int(story.width / CELL_MM) * FINE
        self.yy, self.xx = np.mgrid[0:ny, 0:nx].astype(np.float32) * np.float32(self.fine_mm)
        self.emissivity, self.index = self._surface((ny, nx))
        self.scale = 0.0
        self.view = self._view()
        self.blur = float(rng.uniform(0.5, 0.9))
        with_hand = kind in ("mirror", "quiet-hand")
        with_hand |= kind in ("strong", "rail") and rng.random() < 0.3
        with_hand |= kind == "quiet-handheld" and rng.random() < 0.5
        self.hand = self._hand() if with_hand else None
        self.room = 0.3 * smooth_field(rng, (ny, nx), 4)
        self.room_offset = float(rng.uniform(-1.0, 2.0))
        self.netd = float(rng.choice([0.03, 0.045, 0.06]))
        fixed = rng.normal(0, 0.03, (self.rows, self.cols))
        self.pattern = fixed + rng.normal(0, 0.04, self.cols)[None]
        self.ambient = float(rng.uniform(291, 299))

    def _surface(self, shape: tuple[int, int]) -> tuple[Picture, NDArray[np.int32]]:
        rng, fine = self.story.rng, self.fine_mm
        seen = np.full(shape, rng.uniform(0.88, 0.95), np.float32)
        seen += 0.01 * smooth_field(rng, shape, 12)
        index = np.zeros(shape, np.int32)
        for j, p in enumerate(self.story.parts):
            x0, x1 = round((p.x - p.w / 2) / fine), round((p.x + p.w / 2) / fine)
            y0, y1 = round((p.y - p.h / 2) / fine), round((p.y + p.h / 2) / fine)
            box = np.s_[y0 : max(y1, y0 + 1), x0 : max(x1, x0 + 1)]
            index[box], seen[box] = j + 1, p.emissivity
            if p.package in ("0402", "0603", "0805", "1206"):  # bright ends
                e = max(1, round(0.25 / fine))
                if p.w > p.h:
                    seen[y0:y1, x0 : x0 + e] = seen[y0:y1, x1 - e : x1] = 0.3
                else:
                    seen[y0 : y0 + e, x0:x1] = seen[y1 - e : y1, x0:x1] = 0.3
        return np.clip(seen, 0.02, 0.99), index

    def _view(self) -> Floats:
        rng, w, h = self.story.rng, self.story.width, self.story.height
        margin = rng.uniform(0.06, 0.12)
        self.scale = min(self.cols * (1 - 2 * margin) / w, self.rows * (1 - 2 * margin) / h)
        corners = np.array([(-1, 1), (1, 1), (1, -1), (-1, -1)])
        target = self.scale / 2 * corners * [w, h] + [self.cols / 2, self.rows / 2]
        target += rng.uniform(-0.03, 0.03, (4, 2)) * self.cols
        board = np.array([[0, 0], [w, 0], [w, h], [0, h]], np.float32)
        found = cv2.getPerspectiveTransform(board, target.astype(np.float32))
        return np.asarray(found, np.float64)

    def _hand(self) -> _Hand:
        rng, story = self.story.rng, self.story
        return _Hand(
            start_s=float(rng.uniform(0.5, story.seconds * 0.6)),
            way=rng.uniform(0, 1, (3, 2)) * [story.width, story.height],
            stays=bool(rng.random() < 0.5),
            kelvin=float(rng.uniform(4, 10)),
            size_mm=float(rng.uniform(8, 25)),
        )

    def _motion(self, n: int) -> Floats:
        """Return shift x, y, turn and log scale of each frame, nothing in the first."""
        rng, move = self.story.rng, np.zeros((n, 4))
        if "handheld" in self.story.kind:
            walk = smooth_path(rng, n, FPS, 0.8)
            move[:, :2] = walk[:, :2] * rng.uniform(0.6, 1.6)
            move[:, 2] = walk[:, 2] * 0.003
        if self.story.kind == "shaky":
            walk = smooth_path(rng, n, FPS, 0.6)
            move[:, :2] = walk[:, :2] * rng.uniform(3, 8)
            move[:, 2:] = walk[:, 2:] * [0.025, 0.03]
        return np.asarray(move - move[0])

    def _closings(self) -> list[float]:
        rng, closings = self.story.rng, []
        if "shutter" in self.story.kind:
            s = float(rng.uniform(1.5, 4.5))
            while s < self.story.seconds:
                closings.append(s)
                s += float(rng.uniform(3.5, 6.5))
        return closings

    def _drift(self, n: int) -> tuple[Floats, list[Picture]]:
        """Return the courses of the drift, and the pictures that they drive."""
        rng = self.story.rng
        shape = (self.rows, self.cols)
        even = np.ones(shape, np.float32)
        fields = [even] + [smooth_field(rng, shape, c) for c in (2, 3, 4)]
        steps = rng.normal(size=(n, 4)) * np.array([0.006, 0.004, 0.003, 0.003])
        walk = np.cumsum(steps, axis=0)
        courses = walk - 0.001 * np.cumsum(walk, axis=0)
        return courses + rng.normal(0, 0.006, 4) * self.story.time_s[:, None], fields

    def film(
        self, sheets: Picture, tops: Picture
    ) -> tuple[NDArray[np.uint16], list[tuple[tuple[float, float], tuple[float, float]]]]:
        """Return the counts, and landmarks picked by an unsteady hand in the first frame."""
        rng, t = self.story.rng, self.story.time_s
        n = len(t)
        courses, fields = self._drift(n)
        moves, closings = self._motion(n), self._closings()
        offset = 0.0
        offset_field: NDArray[np.floating] = np.zeros((self.rows, self.cols))
        held_until = -1.0
        counts = np.empty((n, self.rows, self.cols), np.uint16)
        for k in range(n):
            if closings and t[k] >= closings[0]:
                closings.pop(0)
                held_until = t[k] + rng.uniform(0.3, 0.5)
                offset += rng.normal(0, 0.25)
                offset_field = 0.05 * smooth_field(rng, (self.rows, self.cols), 3)
            if t[k] < held_until:
                counts[k] = counts[k - 1]
                continue
            picture = self._picture(sheets[k], tops[k], moves[k], t[k])
            drift = sum(c * f for c, f in zip(courses[k], fields, strict=True))
            noise = rng.normal(0, self.netd, picture.shape)
            kelvin = self.ambient + picture + drift + offset + offset_field + self.pattern + noise
            counts[k] = np.clip(np.round(kelvin / K_PER_COUNT), 0, 65535)
        return counts, self._landmarks()

    def _picture(self, sheet: Picture, tops: Picture, move: Floats, t: float) -> Picture:
        size = (self.emissivity.shape[1], self.emissivity.shape[0])
        surface = cv2.resize(sheet, size, interpolation=cv2.INTER_LINEAR)
        body = np.concatenate([[0], tops]).astype(np.float32)[self.index]
        rise = np.where(self.index > 0, body, surface)
        mirrored = self.room + self.room_offset
        if self.hand is not None:
            mirrored = mirrored + self.hand.seen(t, self.xx, self.yy, self.story.rng)
        seen = self.emissivity * rise + (1 - self.emissivity) * mirrored
        softness = max(0.3, 0.5 * self.blur / (self.scale * self.fine_mm))
        soft = cv2.GaussianBlur(seen.astype(np.float32), (0, 0), softness)
        border = -0.6 + self.room_offset * 0.2
        picture = cv2.warpPerspective(
            soft, self._matrix(move), (self.cols, self.rows),
            flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=border,
        )  # fmt: skip
        return np.asarray(cv2.GaussianBlur(picture, (0, 0), self.blur * 0.75))

    def _matrix(self, move: Floats) -> Floats:
        """Return the way from fine cells to pixels, the camera moved."""
        dx, dy, angle, log_scale = move
        cx, cy = self.cols / 2, self.rows / 2
        c, s = np.cos(angle) * np.exp(log_scale), np.sin(angle) * np.exp(log_scale)
        shake = np.array(
            [[c, -s, cx + dx - c * cx + s * cy], [s, c, cy + dy - s * cx - c * cy], [0, 0, 1.0]]
        )
        shift = np.array([[1, 0, -0.5], [0, 1, -0.5], [0, 0, 1.0]])
        fine = self.fine_mm
        to_mm = np.array([[fine, 0, fine / 2], [0, fine, fine / 2], [0, 0, 1.0]])
        return np.asarray(shift @ shake @ self.view @ to_mm)

    def _landmarks(self) -> list[tuple[tuple[float, float], tuple[float, float]]]:
        w, h = self.story.width, self.story.height
        found = []
        for x, y in ((5.0, 5.0), (w - 5, 5.0), (w - 5, h - 5), (5.0, h - 5), (w / 2, h / 2)):
            u, v, depth = self.view @ [x, y, 1.0]
            du, dv = self.story.rng.normal(0, 0.35, 2)
            found.append(((x, y), (float(u / depth + du), float(v / depth + dv))))
        return found
