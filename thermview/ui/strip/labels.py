"""Labels beside the ends of curves, moved apart so that none covers another. No Qt."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np


def spread(wanted: Sequence[float], height: float, low: float, high: float) -> list[float]:
    """Return centres as near to the wanted ones as labels of one height allow.

    Labels that would overlap are pooled into a block around the mean of their wanted places (the
    least-squares answer); their order stays.

    Parameters
    ----------
    wanted : sequence of float
        Wanted centres, px.
    height : float
        Of every label, px.
    low, high : float
        Edges that no label crosses, px. More labels than fit are pressed together evenly.
    """
    count = len(wanted)
    if count == 0:
        return []
    height = min(height, (high - low) / count)
    order = np.argsort(np.asarray(wanted, dtype=float), kind="stable")
    blocks: list[tuple[float, int]] = []  # (sum of wanted first centres, labels)
    for position, label in enumerate(order):
        total, size = float(wanted[label]) - position * height, 1
        while blocks and blocks[-1][0] / blocks[-1][1] > total / size:
            before = blocks.pop()
            total, size = total + before[0], size + before[1]
        blocks.append((total, size))
    floor, ceiling = low + height / 2, high - height / 2 - (count - 1) * height
    bases = [min(max(t / n, floor), ceiling) for t, n in blocks for _ in range(n)]
    result = [0.0] * count
    for position, label in enumerate(order):
        result[label] = bases[position] + position * height
    return result
