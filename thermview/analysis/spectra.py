"""Pictures in the frequency plane: NumPy's transforms, one picture at a time.

A stack at once takes NumPy up to three times as long; SciPy's, which are as quick, take longer to
load than a faint recording's transforms take together.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray


def fast_length(least: int) -> int:
    """Return the shortest length of at least so much whose transform is quick."""
    return int(cv2.getOptimalDFTSize(least))


def forward(pictures: NDArray[Any], size: tuple[int, int] | None = None) -> NDArray[Any]:
    """Return pictures' real transforms.

    Parameters
    ----------
    pictures : ndarray of float32 or float64, shape (…, row, column)
    size : (rows, columns), optional
        What they are filled up to with zeros.

    Returns
    -------
    ndarray of complex64 or complex128, shape (…, row, columns // 2 + 1)
    """
    rows, columns = size = size or (pictures.shape[-2], pictures.shape[-1])
    kind = np.complex64 if pictures.dtype == np.float32 else np.complex128
    made = np.empty((*pictures.shape[:-2], rows, columns // 2 + 1), kind)
    for at in np.ndindex(pictures.shape[:-2]):
        made[at] = np.fft.rfft2(pictures[at], s=size)
    return made


def back(plane: NDArray[Any], size: tuple[int, int]) -> NDArray[Any]:
    """Return the pictures, shape (…, row, column), of real transforms; `size` as theirs was."""
    kind = np.float32 if plane.dtype == np.complex64 else np.float64
    made = np.empty((*plane.shape[:-2], *size), kind)
    for at in np.ndindex(plane.shape[:-2]):
        made[at] = np.fft.irfft2(plane[at], s=size)
    return made
