"""Least squares without negative weights, against SciPy's (`scipy.optimize.nnls`)."""

import numpy as np
import pytest
from scipy.optimize import nnls

from thermview.analysis.nonnegative import nonnegative


@pytest.mark.parametrize("seed", range(40))
def test_it_leaves_as_little_as_scipys(seed: int) -> None:
    random = np.random.default_rng(seed)
    rows, count = int(random.integers(20, 300)), int(random.integers(1, 12))
    columns = random.normal(size=(rows, count))
    curve = columns @ random.normal(size=count) + random.normal(size=rows)
    weights, left = nonnegative(columns, curve)
    theirs, their_left = nnls(columns, curve)
    assert weights == pytest.approx(theirs, abs=1e-9)
    assert left == pytest.approx(their_left, rel=1e-9)


@pytest.mark.parametrize("seed", range(20))
def test_columns_that_nearly_coincide(seed: int) -> None:
    """Answers through neighbouring lags differ little."""
    random = np.random.default_rng(seed)
    times_s = np.linspace(0.0, 12.0, 150)[:, None]
    lags_s = np.geomspace(0.05, 20.0, 9)
    columns = -np.expm1(-np.maximum(times_s - 3.0, 0.0) / lags_s)
    curve = columns @ random.uniform(0, 1, 9) ** 6 + 0.1 * random.normal(size=150)
    weights, left = nonnegative(columns, curve)
    assert weights.min() >= 0
    assert left == pytest.approx(nnls(columns, curve)[1], rel=1e-7)


def test_nothing_helps() -> None:
    weights, left = nonnegative(np.ones((5, 2)), -np.ones(5))
    assert weights.tolist() == [0.0, 0.0]
    assert left == pytest.approx(5**0.5)
    assert nonnegative(np.zeros((5, 2)), np.ones(5))[0].tolist() == [0.0, 0.0]
    assert nonnegative(np.ones((5, 1)), np.zeros(5)) == (np.zeros(1), 0.0)
