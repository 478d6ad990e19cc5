"""Measuring 20 regions in a 640 x 512 frame: ours, the bare numpy script, one copy of the frame.

Run: python benchmarks/bench_regions.py
"""

from __future__ import annotations

import timeit
from collections.abc import Callable

import numpy as np

from thermview.frames import Scale
from thermview.regions import Ellipse, Polygon, Rectangle, RegionPixels, Shape, measure, pixel_mask

SIZE = (512, 640)
SCALE = Scale(0.01, 0.0)


def regions() -> list[Shape]:
    """Return 20 regions as on a board: packages from 12 to 110 px, some of them round or odd."""
    random = np.random.default_rng(20)
    shapes: list[Shape] = []
    for number in range(20):
        x, y = random.uniform(10, 520), random.uniform(10, 390)
        width, height = random.uniform(12, 110, 2)
        if number % 2 == 0:
            shapes.append(Rectangle(x, y, width, height))
        elif number % 4 == 1:
            shapes.append(Ellipse(x + width / 2, y + height / 2, width / 2, height / 2))
        else:
            corners = ((x, y), (x + width, y + 3), (x + width, y + height), (x + 5, y + height))
            shapes.append(Polygon(corners))
    return shapes


def best_us(action: Callable[[], object], number: int) -> float:
    return min(timeit.repeat(action, number=number, repeat=9)) / number * 1e6


def main() -> None:
    counts = np.random.default_rng(1).integers(29000, 31000, SIZE).astype(np.uint16)
    shapes = regions()
    pixels = [RegionPixels.of(shape, SIZE) for shape in shapes]
    masks = [pixel_mask(shape, SIZE) for shape in shapes]
    where = [np.flatnonzero(mask) for mask in masks]
    table = np.linspace(250, 400, 65536).astype(np.float32)

    def bare() -> list[tuple[float, ...]]:
        kelvin = counts * 0.01
        rows: list[tuple[float, ...]] = []
        for mask, places in zip(masks, where, strict=True):
            values = kelvin[mask]
            at = places[values.argmax()]
            rows.append((values.min(), values.mean(), values.max(), *divmod(int(at), SIZE[1])))
        return rows

    def ours() -> object:
        return [measure(counts, region, SCALE) for region in pixels]

    def converted() -> object:
        return [measure(counts, region, SCALE, table.take) for region in pixels]

    for theirs, mine in zip(bare(), [measure(counts, one, SCALE) for one in pixels], strict=True):
        assert np.allclose(theirs[:3], mine[:3], atol=1e-6, rtol=0)
    copy_us, bare_us = best_us(counts.copy, 500), best_us(bare, 20)
    print(f"one copy of the frame        {copy_us:9.1f} us")
    print(f"bare numpy script            {bare_us:9.1f} us   {bare_us / copy_us:6.1f} copies")
    for name, action in (("apparent", ours), ("object (table)", converted)):
        us = best_us(action, 200)
        print(
            f"thermview, {name:<16}  {us:9.1f} us   {us / copy_us:6.1f} copies   "
            f"{bare_us / us:6.1f} times faster than the script"
        )
    polygon_us = best_us(lambda: pixel_mask(Ellipse(320, 256, 300, 240), SIZE), 20)
    print(f"mask of a 600 x 480 ellipse  {polygon_us:9.1f} us")


if __name__ == "__main__":
    main()
