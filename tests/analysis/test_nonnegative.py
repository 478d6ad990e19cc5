"""Least squares without negative weights, against SciPy's (`scipy.optimize.nnls`)."""

import numpy as np
import pytest
from scipy.optimize import nnls

from thermview.analysis.nonnegative import nonnegative, nonnegative_by_products


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


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("count", [1, 7, 150])
def test_by_products_as_scipys(seed: int, count: int) -> None:
    """The ridge moves a solution by a hundred-thousandth or so; it is put into SciPy's as well."""
    random = np.random.default_rng(seed)
    columns = np.abs(random.normal(size=(2 * count + 5, count))) + seed % 3  # near each other
    curve = columns @ random.normal(size=count) + random.normal(size=len(columns))
    found = nonnegative_by_products(columns.T @ columns, columns.T @ curve)
    size = np.linalg.norm(columns, axis=0)
    ridged = np.vstack([columns / size, 1e-5**0.5 * np.eye(count)])
    theirs = nnls(ridged, np.append(curve, np.zeros(count)))[0] / size
    assert found.min() >= 0
    assert found == pytest.approx(theirs, abs=1e-8 * float(np.abs(curve).max()))


def test_by_products_nothing_helps() -> None:
    assert nonnegative_by_products(np.eye(3), -np.ones(3)).tolist() == [0.0, 0.0, 0.0]
    assert nonnegative_by_products(np.zeros((2, 2)), np.zeros(2)).tolist() == [0.0, 0.0]
    assert nonnegative_by_products(np.zeros((0, 0)), np.zeros(0)).shape == (0,)
