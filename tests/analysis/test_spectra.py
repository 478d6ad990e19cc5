"""Transforms of pictures, against SciPy's (`scipy.fft`)."""

import numpy as np
import pytest
from scipy import fft

from thermview.analysis.spectra import back, fast_length, forward


@pytest.mark.parametrize("kind", [np.float32, np.float64])
@pytest.mark.parametrize("shape", [(12, 15), (3, 16, 20), (2, 3, 9, 10)])
def test_forth_and_back(shape: tuple[int, ...], kind: type[np.floating]) -> None:
    pictures = np.asarray(np.random.default_rng(1).normal(size=shape), kind)
    size = (24, 25)
    plane = forward(pictures, size)
    theirs = fft.rfft2(pictures, s=size)
    tolerance = 1e-4 if kind is np.float32 else 1e-11
    assert plane.dtype == theirs.dtype
    assert plane == pytest.approx(theirs, abs=tolerance)
    again = back(plane, size)
    assert again.dtype == kind
    assert again[..., : shape[-2], : shape[-1]] == pytest.approx(pictures, abs=tolerance)
    assert back(forward(pictures), (shape[-2], shape[-1])) == pytest.approx(pictures, abs=tolerance)


@pytest.mark.parametrize("least", [1, 7, 97, 257, 300, 1023])
def test_fast_lengths_have_small_factors_only(least: int) -> None:
    length = fast_length(least)
    assert least <= length <= fft.next_fast_len(least, real=True)
    for factor in (2, 3, 5):
        while length % factor == 0:
            length //= factor
    assert length == 1
