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

import numpy as np
from hard_boards import CELL_MM, FINE, SIZES, Part, copper_map, place, smooth_field
from hard_films import Camera, Film, Scene, film_board
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse.linalg import splu

from thermview.board import Landmark
from thermview.frames import Frame, Mark, Scale, SourceInfo, SupplyLog

Floats = NDArray[np.float64]
CELL_M = CELL_MM * 1e-3
LIMIT_W = {"0402": 0.063, "0603": 0.1, "0805": 0.16, "1206": 0.25, "SOT-23": 0.3}
ALIKE = 0.15  # of the differences between kinds, those within one
WARM_KINDS = ("SOIC-8", "TSSOP-14", "LQFP-64", "IND", "SOT-23", "1206", "0805", "0603", "0402")


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
    group = [i for i, p in enumerate(parts) if p.package == rng.choice(["SOIC-8", "TSSOP-14"])]
    common = rng.uniform(0.08, 0.4)
    for i in group[: rng.integers(2, 7)]:
        power[i] = common
    pool = [i for i, p in enumerate(parts) if p.package in WARM_KINDS and power[i] == 0]
    big = [p.package not in LIMIT_W for p in (parts[i] for i in pool)]
    weight = np.where(big, 4.0, 1.0)
    n = max(0, min(wanted - int(np.count_nonzero(power)), len(pool)))
    for i in rng.choice(pool, n, replace=False, p=weight / weight.sum()):
        top = LIMIT_W.get(parts[i].package, 0.6)
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
) -> tuple[Floats, NDArray[np.float32]]:
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


def beside_hot(rng: np.random.Generator, parts: list[Part], power: Floats) -> Floats:
    """Move some 0402 close to the hottest large parts, where there is room; return the powers.

    Half of those that are moved are warm themselves.
    """
    hot = [parts[i] for i in np.argsort(-power)[:6] if parts[i].w > 3]
    small = [i for i, p in enumerate(parts) if p.package == "0402"]
    power = power.copy()
    for i in rng.permutation(small)[: rng.integers(3, 9)].tolist():
        if not hot:
            break
        large, mine = hot[int(rng.integers(len(hot)))], parts[i]
        side = rng.choice([-1, 1])
        x = large.x + side * ((large.w + mine.w) / 2 + rng.uniform(0.3, 1.0))
        y = large.y + rng.uniform(-0.5, 0.5) * large.h
        others = [p for p in parts if p is not mine]
        if all(
            abs(x - p.x) > (mine.w + p.w) / 2 + 0.2 or abs(y - p.y) > (mine.h + p.h) / 2 + 0.2
            for p in others
        ):
            mine.x, mine.y = float(x), float(y)
            power[i] = rng.uniform(0.05, LIMIT_W["0402"]) if rng.random() < 0.5 else 0.0
    return power


def of_one_kind(parts: list[Part], values: Floats) -> Floats:
    """Return values that parts of one package share, but for a tenth or so."""
    first: dict[str, float] = {}
    for part, value in zip(parts, values.tolist(), strict=True):
        first.setdefault(part.package, value)
    kind = np.array([first[part.package] for part in parts])
    return np.asarray(kind * (values / kind) ** ALIKE)


def copper_drawn(rng: np.random.Generator, ny: int, nx: int) -> tuple[Floats, Floats]:
    """Return the sheet of `copper_map`, or of pours that tracks cut, of other thicknesses too."""
    kd, capacity = copper_map(rng, ny, nx)
    if rng.random() < 0.4:  # a pour over part of the board, cut by tracks along either axis
        kd = np.full((ny, nx), rng.uniform(0.4, 0.8) * 1e-3)
        edge = int(rng.integers(nx // 4, nx))
        kd[:, :edge] += rng.uniform(0.005, 0.02)
        for _ in range(int(rng.integers(4, 20))):
            row, column = int(rng.integers(ny)), int(rng.integers(nx))
            if rng.random() < 0.5:
                kd[row : row + 2, column : column + int(rng.integers(20, 90))] *= 0.3
            else:
                kd[row : row + int(rng.integers(20, 90)), column : column + 2] += 0.006
    thickness = rng.choice([1.0, 1.6, 1.6, 2.0]) / 1.6
    return np.clip(kd, 3e-4, 0.05) * thickness, capacity * thickness


def generate_pair(seed: int, healthy: bool | None = None) -> Pair:
    """Make a pair; without `healthy` about a third of the second boards are healthy."""
    rng = np.random.default_rng([seed, 78])
    width, height = rng.uniform(60, 130), rng.uniform(50, 95)
    ny, nx = int(height / CELL_MM), int(width / CELL_MM)
    parts, _ = place(rng, width, height, False)
    power = beside_hot(rng, parts, powers_of(rng, parts))
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
    kd, capacity = copper_drawn(rng, ny, nx)
    size_mm3 = np.array([p.w * p.h * p.height for p in parts])
    body_c = size_mm3 * 1e-9 * rng.uniform(1.6e6, 3.2e6, len(parts))
    foot = np.array([p.w * p.h for p in parts]) * 1e-6
    body_g = foot * np.exp(rng.uniform(np.log(1800), np.log(12000), len(parts)))
    body_c, body_g = of_one_kind(parts, body_c), of_one_kind(parts, body_g)
    film = rng.uniform(6, 18)
    eps, index = look_of(rng, parts, ny, nx)
    films = []
    for watts in (good_w, bad_w):
        camera = Camera.drawn(rng, (width, height))
        loss = film * rng.uniform(0.85, 1.15)
        mine_g = body_g * rng.uniform(0.95, 1.05, len(parts))
        g, c = network(kd, capacity, loss, parts, (body_c, mine_g))
        slow_start_s = float(rng.choice([0.0, 0.3]))
        times_s, rises_k = warm_up(g, c, watts, camera.seconds, slow_start_s)
        look = np.clip(eps + 0.01 * rng.normal(), 0.02, 0.99).astype(np.float32)
        scene = Scene(look, index, times_s, rises_k, (ny, nx))
        films.append(film_board(rng, camera, scene, (width, height)))
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
            scale=Scale(film.k_per_count),
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
    """Return a film's landmarks."""
    return tuple(Landmark(board, pixel) for board, pixel in film.landmarks)
