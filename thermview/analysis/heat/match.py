"""How well a part's heat matches what is seen: its sheet's picture and its body's, in products."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermview.analysis.heat_model import BODY_SEEN_LEAST, CONTACT, Footprint, Templates
from thermview.analysis.responses import Modes

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Match:
    """Products of what is seen with a part's two pictures and among these, shape (…, choice).

    `own` holds the body's courses in the modes, shape (choice, mode).
    """

    own: NDArray[np.floating]
    data_sheet: NDArray[np.floating]
    data_body: NDArray[np.floating]
    sheet_sheet: NDArray[np.floating]
    sheet_body: NDArray[np.floating]
    body_body: NDArray[np.floating]

    def of(self, excess: NDArray[np.floating]) -> tuple[Floats, Floats]:
        """Return ⟨data, picture⟩ and ⟨picture, picture⟩ of 1 W for excesses, shape (…, choice).

        Their quotient is the power, the first over the root of the second its score.
        """
        seen = self.data_sheet + excess * self.data_body
        size = self.sheet_sheet + excess * (2 * self.sheet_body + excess * self.body_body)
        return np.asarray(seen), np.asarray(size)

    def tries(
        self, least: float | NDArray[np.floating], most: float | NDArray[np.floating]
    ) -> Floats:
        """Return the excesses among which the best one between bounds is, shape (3, …, choice).

        The two pictures' ratio is known in closed form; where it is out of bounds, a bound is best.
        """
        free_power = self.data_sheet * self.body_body - self.data_body * self.sheet_body
        free_body = self.data_body * self.sheet_sheet - self.data_sheet * self.sheet_body
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = np.where(free_power > 0, free_body / free_power, least)
        low, high = np.broadcast_to(least, ratio.shape), np.broadcast_to(most, ratio.shape)
        return np.stack([np.clip(ratio, low, high), low, high])


def scores_of(seen: Floats, size: Floats) -> Floats:
    """Return signal to noise of what `Match.of` gives."""
    return np.asarray(seen / np.sqrt(np.maximum(size, 1e-30)))


def excess_bounds(footprint: Footprint) -> tuple[float, float]:
    """Return the least and the most that a body may be warmer than the board under it, K/W."""
    return (
        BODY_SEEN_LEAST / (CONTACT[1] * footprint.area_m2),
        1.0 / (CONTACT[0] * footprint.area_m2),
    )


def match_of(
    templates: Templates,
    choices: Sequence[tuple[float, int]],
    modes: Modes,
    *,
    seen: NDArray[np.float32],
    variance: NDArray[np.float32],
) -> Match:
    """Return how what is seen in a window matches templates.

    Parameters
    ----------
    templates : Templates
    choices : sequence of (κ, lag)
        Those of the templates.
    modes : Modes
    seen : ndarray, shape (mode, row, column)
        In the templates' window.
    variance : ndarray, shape (row, column)
        Of the whole picture.
    """
    weight = (1.0 / templates.window.cut(variance)).reshape(-1)
    data = seen.reshape(modes.count, -1) * weight
    sheet = templates.sheet.reshape(*templates.sheet.shape[:2], -1)
    body = templates.body.reshape(modes.count, -1)
    own = modes.body[[lag for _, lag in choices]].astype(np.float32)
    return Match(
        own=own,
        data_sheet=sheet.reshape(len(sheet), -1) @ data.reshape(-1),
        data_body=own @ np.sum(data * body, axis=1),
        sheet_sheet=((sheet**2) @ weight).sum(axis=1),
        sheet_body=np.sum(own * np.einsum("cmp,mp->cm", sheet, body * weight), axis=1),
        body_body=own**2 @ ((body**2) @ weight),
    )
