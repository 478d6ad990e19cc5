"""Products of templates in their cuts are those of whole pictures (plain numpy)."""

from __future__ import annotations

import numpy as np
import pytest

from thermview.analysis.pair.patches import Patches

SHAPE = (30, 40)
CUTS = [
    (slice(0, 10), slice(0, 12)),
    (slice(5, 20), slice(8, 20)),
    (slice(20, 30), slice(20, 40)),  # touches the one before at a corner only
    (slice(0, 30), slice(0, 40)),
]


def test_products_and_sums_are_those_of_whole_pictures() -> None:
    rng = np.random.default_rng(1)
    held, whole = [], np.zeros((len(CUTS), 2, 3, *SHAPE), np.float32)
    for at, (rows, columns) in enumerate(CUTS):
        size = rows.stop - rows.start, columns.stop - columns.start
        held.append(rng.normal(size=(2, 3, *size)).astype(np.float32))
        whole[at][..., rows, columns] = held[at]
    flat = whole.reshape(2 * len(CUTS), -1).astype(np.float64)
    patches = Patches(CUTS, held)
    assert patches.gram() == pytest.approx(flat @ flat.T, abs=1e-3)
    seen = rng.normal(size=(3, *SHAPE)).astype(np.float32)
    assert patches.products(seen) == pytest.approx(flat @ seen.ravel(), abs=1e-3)
    times = rng.normal(size=len(flat))
    times[2:4] = 0.0  # a cut that adds nothing
    assert patches.summed(times, seen).ravel() == pytest.approx(times @ flat, abs=1e-4)
