"""How far a 95 % interval reaches where an uncertainty is itself known from few readings."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

PROBABILITY: Final = 0.95
COVERAGE_FACTOR: Final = 1.959963984540054
"""Normal quantile of a two-sided 95 % interval."""

MANY_FREEDOMS: Final = 1000.0
"""Beyond it the factor is the normal distribution's to three digits."""


def effective_freedom(shares: ArrayLike, freedom: ArrayLike) -> Floats:
    """Return the effective degrees of freedom of a combined standard uncertainty.

    Welch–Satterthwaite, JCGM 100 G.4.1.

    Parameters
    ----------
    shares : array_like, shape (source, …)
        Contributions to the combined standard uncertainty, of any unit.
    freedom : array_like, shape (source,)
        Degrees of freedom of each; infinite where it is known otherwise than from readings.

    Returns
    -------
    ndarray, shape (…)
        Infinite where nothing rests on few readings.
    """
    squares = np.square(np.asarray(shares, dtype=np.float64))
    given = np.asarray(freedom, dtype=np.float64).reshape(-1, *[1] * (squares.ndim - 1))
    few = (squares**2 / given).sum(axis=0)
    with np.errstate(divide="ignore", invalid="ignore"):
        found = np.square(squares.sum(axis=0)) / few
    return np.asarray(np.where(few > 0.0, found, np.inf))


def coverage_factor(freedom: ArrayLike) -> Floats:
    """Return the factor from a standard uncertainty to the half width of a 95 % interval.

    Student's t, JCGM 100 G.3; the normal quantile for infinite degrees of freedom.
    """
    from scipy.special import stdtrit  # late: most commands do without

    given = np.asarray(freedom, dtype=np.float64)
    factor = stdtrit(np.where(np.isfinite(given), given, 1.0), (1.0 + PROBABILITY) / 2.0)
    return np.asarray(np.where(np.isfinite(given), factor, COVERAGE_FACTOR))
