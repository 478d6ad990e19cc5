"""Hard pairs for the comparison with a known-good board: random boards, faults, views, rooms.

Like `hard_boards`, with numerics of their own (implicit steps on a sheet with bodies as nodes),
apart from the program's simulated board. All of it is simulated.
"""

# mypy: allow-untyped-calls
from __future__ import annotations

import pickle
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import cv2
import numpy as np
from hard_boards import CELL_MM, FINE, SIZES, Part, copper_map, place, smooth_field
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse.linalg import splu

from thermview.board import Landmark
from thermview.frames import Frame, Mark, Scale, SourceInfo, SupplyLog

Floats = NDArray[np.float64]
CELL_M = CELL_MM * 1e-3
K_PER_COUNT = 0.015625
WARM_KINDS = ("SOIC-8", "TSSOP-14", "LQFP-64", "IND", "SOT-23", "1206", "0805", "0603")


@dataclass
class Film:
    """One board's recording and what a user would know of it."""

    counts: NDArray[np.uint16]
    time_s: Floats
    landmarks: list[tuple[tuple[float, float], tuple[float, float]]]
    on_s: float
    outline_px: Floats  # corners of the board in the picture


@dataclass
class Pair:
    seed: int
    parts: list[Part]
    power_w: Floats  # of the model, per part
    good: Film
    bad: Film
    true_good_w: Floats
    true_bad_w: Floats
    colder: list[str]
    hotter: list[str]
    warm: list[str]


def powers_of(rng: np.random.Generator, parts: list[Part]) -> Floats:
    """Choose 10 to 25 warm parts; chips of one kind often do one job."""
    power = np.zeros(len(parts))
    wanted = int(rng.integers(10, 26))
    limit = {"0603": 0.1, "0805": 0.16, "1206": 0.25, "SOT-23": 0.3}
    group = [i for i, p in enumerate(parts) if p.package == rng.choice(["SOIC-8", "TSSOP-14"])]
    common = rng.uniform(0.08, 0.4)
    for i in group[: rng.integers(2, 7)]:
        power[i] = common
    pool = [i for i, p in enumerate(parts) if p.package in WARM_KINDS and power[i] == 0]
    big = [p.package not in ("1206", "0805", "0603") for p in (parts[i] for i in pool)]
    weight = np.where(big, 4.0, 1.0)
    n = max(0, min(wanted - int(np.count_nonzero(power)), len(pool)))
    for i in rng.choice(pool, n, replace=False, p=weight / weight.sum()):
        top = limit.get(parts[i].package, 0.6)
        power[i] = np.exp(rng.uniform(np.log(0.05), np.log(top)))
    return power


def cells_of(parts: list[Part], ny: int, nx: int) -> list[Floats]:
    """Return the flat numbers of the cells under each part."""
    found = []
    for p in parts:
        x0, x1 = round((p.x - p.w / 2) / CELL_MM), round((p.x + p.w / 2) / CELL_MM)
        y0, y1 = round((p.y - p.h / 2) / CELL_MM), round((p.y + p.h / 2) / CELL_MM)
        yy, xx = np.mgrid[max(0, y0) : max(y1, y0 + 1), max(0, x0) : max(x1, x0 + 1)]
        found.append((yy.clip(0, ny - 1) * nx + xx.clip(0, nx - 1)).ravel())
    return found


def network(
    kd: Floats, capacity: Floats, film: float, parts: list[Part], bodies: tuple[Floats, Floats]
) -> tuple[sparse.csc_matrix, Floats]:
    """Return conductances (W/K) and heat capacities (J/K) of cells and bodies.

    `bodies` are the bodies' own heat capacities and their conductances to the board.
    """
    body_c, body_g = bodies
    ny, nx = kd.shape
    number = np.arange(ny * nx).reshape(ny, nx)
    fx = 2 / (1 / kd[:, 1:] + 1 / kd[:, :-1])
    fy = 2 / (1 / kd[1:] + 1 / kd[:-1])
    a = [number[:, 1:].ravel(), number[1:].ravel()]
    b = [number[:, :-1].ravel(), number[:-1].ravel()]
    g = [fx.ravel(), fy.ravel()]
    for j, under in enumerate(cells_of(parts, ny, nx)):
        a.append(under)
        b.append(np.full(len(under), ny * nx + j))
        g.append(np.full(len(under), body_g[j] / len(under)))
    ends = (np.concatenate(a), np.concatenate(b))
    n = ny * nx + len(parts)
    off = sparse.coo_matrix((np.concatenate(g), ends), (n, n))
    off = off + off.T
    foot = np.array([p.w * p.h for p in parts]) * 1e-6
    wall = 2 * np.array([(p.w + p.h) * p.height for p in parts]) * 1e-6
    loss = np.concatenate([np.full(ny * nx, 1.6 * film * CELL_M**2), (foot + wall) * film])
    total = sparse.diags(np.asarray(off.sum(axis=1)).ravel() + loss) - off
    return total.tocsc(), np.concatenate([(capacity * CELL_M**2).ravel(), body_c])


def warm_up(
    g: sparse.csc_matrix, c: Floats, power: Floats, seconds: float, slow_start_s: float
) -> tuple[Floats, Floats]:
    """Return times since power-on and rises of all nodes, implicit steps."""
    n_parts = len(power)
    now = np.zeros(len(c))
    times, rises = [0.0], [now.astype(np.float32)]
    t = 0.0
    for dt, until in ((0.04, 3.0), (0.16, seconds)):
        solver = splu((sparse.diags(c / dt) + g).tocsc())
        while t < until - 1e-9:
            t += dt
            drive = min(1.0, (t - dt / 2) / slow_start_s) if slow_start_s else 1.0
            right = c / dt * now
            right[-n_parts:] += power * drive
            now = solver.solve(right)
            times.append(t)
            rises.append(now.astype(np.float32))
    return np.array(times), np.stack(rises)


def film_board(  # noqa: PLR0915
    rng: np.random.Generator,
    parts: list[Part],
    size_mm: tuple[float, float],
    look: tuple[NDArray[np.float32], NDArray[np.int32]],
    heat: tuple[Floats, Floats],
    *,
    seconds: float,
    on_s: float,
    shape: tuple[int, int],
    fps: float,
) -> Film:
    """Film a board's warm-up with a camera that has blur, noise, pattern and drift."""
    emissivity, index = look
    width, height = size_mm
    rows, cols = shape
    ny, nx = int(height / CELL_MM), int(width / CELL_MM)
    t = np.arange(int(seconds * fps)) / fps
    times, rises = heat
    big = CELL_MM / FINE
    margin = rng.uniform(0.04, 0.12)
    scale = min(cols * (1 - 2 * margin) / width, rows * (1 - 2 * margin) / height)

    def jitter() -> float:
        return float(rng.uniform(-0.03, 0.03) * cols)

    cx, cy = cols / 2, rows / 2
    turn = rng.choice([0, 0, 0, 2])  # some boards lie the other way round
    angle = np.deg2rad(rng.uniform(-4, 4)) + np.pi * turn / 2
    spin = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    corners = np.array([(-1, 1), (1, 1), (1, -1), (-1, -1)]) * [
        scale * width / 2,
        scale * height / 2,
    ]
    target = (corners @ spin.T + [cx, cy] + [[jitter(), jitter()] for _ in range(4)]).astype(
        np.float32
    )
    board = np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float32)
    view = cv2.getPerspectiveTransform(board, target).astype(np.float64)  # mm, y up
    to_mm = np.array([[big, 0, big / 2], [0, big, big / 2], [0, 0, 1.0]])
    shift = np.array([[1, 0, -0.5], [0, 1, -0.5], [0, 0, 1.0]])
    full = shift @ view @ to_mm
    blur = rng.uniform(0.5, 0.9)
    netd = rng.choice([0.03, 0.045, 0.06])
    pattern = rng.normal(0, 0.03, shape) + rng.normal(0, 0.04, cols)[None]
    ambient = rng.uniform(289, 301)
    room = (0.3 * smooth_field(rng, emissivity.shape, 4)).astype(np.float32) + rng.uniform(-1, 2)
    fields = [smooth_field(rng, shape, c) for c in (2, 3, 4)]
    steps = rng.normal(size=(len(t), 4)) * np.array([0.006, 0.004, 0.003, 0.003])
    drift = np.cumsum(steps, 0)
    slow = rng.normal(0, 0.004, 4)
    shutters = [rng.uniform(5, seconds)] if rng.random() < 0.3 else []
    offset, held_until = 0.0, -1.0
    offset_field: NDArray[np.float64] = np.zeros(shape)
    counts = np.empty((len(t), rows, cols), np.uint16)
    ratio = scale * big
    for k, now in enumerate(t):
        if shutters and now >= shutters[0]:
            shutters.pop(0)
            held_until = now + 0.4
            offset += rng.normal(0, 0.25)
            offset_field = np.asarray(0.05 * smooth_field(rng, shape, 3), dtype=np.float64)
        if k and now < held_until:
            counts[k] = counts[k - 1]
            continue
        since = now - on_s
        if since <= 0:
            rise = np.zeros(rises.shape[1], np.float32)
        else:
            at = min(int(np.searchsorted(times, since)), len(times) - 1)
            f = min(1.0, (since - times[at - 1]) / (times[at] - times[at - 1]))
            rise = ((1 - f) * rises[at - 1] + f * rises[at]).astype(np.float32)
        sheet = rise[: ny * nx].reshape(ny, nx)
        surface = cv2.resize(sheet, (emissivity.shape[1], emissivity.shape[0]))
        body = np.concatenate([[0], rise[ny * nx :]]).astype(np.float32)[index]
        surface = np.where(index > 0, body, surface)
        seen = emissivity * surface + (1 - emissivity) * room
        soft = cv2.GaussianBlur(seen, (0, 0), max(0.3, 0.5 * blur / ratio))
        picture = cv2.warpPerspective(
            soft, full, (cols, rows), borderValue=float(room.mean() * 0.3)
        )
        picture = cv2.GaussianBlur(picture, (0, 0), blur * 0.75)
        common = drift[k, 0] + slow[0] * now
        for j, one in enumerate(fields):
            common = common + (drift[k, j + 1] + slow[j + 1] * now) * one
        kelvin = ambient + picture + common + offset + offset_field + pattern
        kelvin = kelvin + rng.normal(0, netd, shape)
        counts[k] = np.clip(np.round(kelvin / K_PER_COUNT), 0, 65535)
    marks = [
        (5, 5),
        (width - 5, 5),
        (width - 5, height - 5),
        (5, height - 5),
        (width / 2, height / 2),
    ]
    landmarks = []
    for mx, my in marks:
        v = view @ [mx, my, 1]
        where = v[:2] / v[2] + rng.normal(0, 0.5 * scale / np.sqrt(2), 2)  # half a millimetre off
        landmarks.append(((float(mx), float(my)), (float(where[0]), float(where[1]))))
    return Film(counts, t, landmarks, on_s, target.astype(np.float64))


def look_of(
    rng: np.random.Generator, parts: list[Part], ny: int, nx: int
) -> tuple[NDArray[np.float32], NDArray[np.int32]]:
    """Return emissivity and part number of each render cell."""
    big = CELL_MM / FINE
    eps = np.full((ny * FINE, nx * FINE), rng.uniform(0.88, 0.95), np.float32)
    eps += (0.01 * smooth_field(rng, eps.shape, 12)).astype(np.float32)
    index = np.zeros(eps.shape, np.int32)
    for j, p in enumerate(parts):
        x0, x1 = round((p.x - p.w / 2) / big), round((p.x + p.w / 2) / big)
        y0, y1 = round((p.y - p.h / 2) / big), round((p.y + p.h / 2) / big)
        index[y0 : max(y1, y0 + 1), x0 : max(x1, x0 + 1)] = j + 1
        eps[y0 : max(y1, y0 + 1), x0 : max(x1, x0 + 1)] = p.emissivity
        if p.package in ("0402", "0603", "0805", "1206"):  # bright ends
            e = max(1, round(0.25 / big))
            if p.w > p.h:
                eps[y0:y1, x0 : x0 + e] = 0.3
                eps[y0:y1, x1 - e : x1] = 0.3
            else:
                eps[y0 : y0 + e, x0:x1] = 0.3
                eps[y1 - e : y1, x0:x1] = 0.3
    return np.clip(eps, 0.02, 0.99), index


def generate_pair(seed: int, healthy: bool | None = None) -> Pair:
    """Make a pair; without `healthy` about a third of the second boards are healthy."""
    rng = np.random.default_rng([seed, 77])
    width, height = rng.uniform(80, 125), rng.uniform(60, 90)
    ny, nx = int(height / CELL_MM), int(width / CELL_MM)
    parts, _ = place(rng, width, height, False)
    power = powers_of(rng, parts)
    warm = np.flatnonzero(power)
    factor = np.ones(len(parts))
    if healthy is None:
        healthy = bool(rng.random() < 1 / 3)
    if not healthy:
        sick = rng.choice(warm, int(rng.integers(1, 5)), replace=False)
        for i in sick:
            cold = rng.random() < 0.65
            factor[i] = rng.uniform(0, 0.25) if cold else rng.uniform(1.9, 2.3)
    spread = rng.uniform(0.08, 0.12)

    def vary() -> Floats:
        drawn = rng.normal(1, spread, len(parts))
        return np.asarray(np.clip(drawn, 1 - 2 * spread, 1 + 2 * spread))

    good_w = power * vary() * rng.uniform(0.95, 1.05)
    bad_w = power * np.where(factor == 1, vary(), factor * np.clip(vary(), 0.95, 1.05))
    bad_w = bad_w * rng.uniform(0.95, 1.05)
    kd, capacity = copper_map(rng, ny, nx)
    foot = np.array([p.w * p.h for p in parts]) * 1e-6
    body_c = (
        np.array([p.w * p.h * p.height for p in parts])
        * 1e-9
        * rng.uniform(1.6e6, 3.2e6, len(parts))
    )
    body_g = foot * rng.uniform(2000, 9000, len(parts))
    film = rng.uniform(8, 16)
    eps, index = look_of(rng, parts, ny, nx)
    shapes = [(192, 256), (120, 160)]
    films = []
    for k, watts in enumerate((good_w, bad_w)):
        shape = shapes[k] if rng.random() < 0.6 else shapes[rng.integers(2)]
        seconds = rng.uniform(32, 44)
        on_s = rng.uniform(1.5, 6.0)
        mine = film * rng.uniform(0.9, 1.1)
        mine_g = body_g * rng.uniform(0.95, 1.05, len(parts))
        g, c = network(kd, capacity, mine, parts, (body_c, mine_g))
        heat = warm_up(g, c, watts, seconds, float(rng.choice([0.0, 0.3])))
        look = np.clip(eps + 0.01 * rng.normal(size=(1, 1)).astype(np.float32), 0.02, 0.99)
        fps = 6.25 if rng.random() < 0.7 else 9.0
        films.append(
            film_board(rng, parts, (width, height), (look, index), heat,
                       seconds=seconds, on_s=on_s, shape=shape, fps=fps)
        )  # fmt: skip
    names = [p.ref for p in parts]
    return Pair(
        seed, parts, power, films[0], films[1], good_w, bad_w,
        [names[i] for i in np.flatnonzero(factor < 1)],
        [names[i] for i in np.flatnonzero(factor > 1)],
        [names[i] for i in warm],
    )  # fmt: skip


def placement_csv(pair: Pair) -> str:
    """Return the pair's placement list."""
    rows = ["Designator,Package,X(mm),Y(mm),Rotation,Side,Width(mm),Height(mm)"]
    for p in pair.parts:
        w, h, _ = SIZES[p.package]
        rows.append(f"{p.ref},{p.package},{p.x:.2f},{p.y:.2f},{p.rot},top,{w},{h}")
    return "\n".join(rows) + "\n"


def cached(seed: int, folder: Path, healthy: bool | None = None) -> Pair:
    """Return a pair, from the folder when it was made before."""
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"pair-{seed}{'' if healthy is None else '-healthy'}.pickle"
    if path.exists():
        found: Pair = pickle.loads(path.read_bytes())
        return found
    pair = generate_pair(seed, healthy)
    partial = path.with_suffix(".part")
    partial.write_bytes(pickle.dumps(pair))
    partial.replace(path)
    return pair


class MemoryFootage:
    """A film's frames as footage."""

    def __init__(self, film: Film, name: str) -> None:
        rows, columns = film.counts.shape[1:]
        self._counts, self._times_s = film.counts, film.time_s
        self.info = SourceInfo(
            name=name,
            address=name,
            width_px=columns,
            height_px=rows,
            scale=Scale(K_PER_COUNT),
            live=False,
            start_time=datetime(2026, 3, 5, 9, 30, tzinfo=UTC),
            simulated=True,
        )
        self.first = 0
        self.supply: SupplyLog | None = None
        self.marks: tuple[Mark, ...] = ()

    @property
    def times_s(self) -> Floats:
        return self._times_s

    def __len__(self) -> int:
        return len(self._times_s)

    def frame(self, number: int) -> Frame:
        counts = self._counts[number]
        return Frame(counts, float(self._times_s[number]), number, self.info.scale)

    def close(self) -> None:
        """Nothing to let go of."""


def landmarks_of(film: Film) -> tuple[Landmark, ...]:
    """Return a film's landmarks, half a millimetre off."""
    return tuple(Landmark(board, pixel) for board, pixel in film.landmarks)
