"""What heat looks like around a part: few pictures mixed are as good as each made for itself."""

from __future__ import annotations

import numpy as np
import pytest

from thermview.analysis.heat_model import Filters, HeatModel, Window
from thermview.analysis.responses import Drive, Modes, orthonormal

OUTLINE_PX = np.array([[30.0, 30.5], [35.0, 30.5], [35.0, 33.0], [30.0, 33.0]])


@pytest.mark.parametrize("mm_per_px", [0.2, 0.6])
@pytest.mark.parametrize("pulsed", [False, True])
def test_mixed_templates_are_those_made_each_for_itself(mm_per_px: float, pulsed: bool) -> None:
    times_s = np.arange(0.0, 14.0, 0.16)
    on = (times_s % 4.0 >= 2.0) if pulsed else (times_s >= 3.0)
    idle = orthonormal(np.stack([np.ones_like(times_s), times_s - times_s.mean()], axis=1))
    modes = Modes.of(Drive.of(on.astype(float), times_s), idle)
    model = HeatModel(Filters(modes, mm_per_px), 64)
    window = Window(0, 0, 64)
    mixed = model.templates(OUTLINE_PX, window)
    for choice in range(len(model.choices)):
        alone = model.templates(OUTLINE_PX, window, only=choice)
        assert alone.sheet.shape[0] == 1
        apart = np.linalg.norm(mixed.sheet[choice] - alone.sheet[0])
        assert apart < 5e-3 * np.linalg.norm(alone.sheet[0])
        assert np.array_equal(mixed.body, alone.body)
