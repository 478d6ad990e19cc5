"""What a region's numbers are worth: value, standard uncertainty, or why it cannot be read.

One judge for the window, the curve export, stills and reports.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from thermview.errors import UsageError
from thermview.frames import Scale, Scene
from thermview.radiometry import (
    CameraProfile,
    Doubt,
    Reading,
    Setting,
    setting_for,
    usual_doubt,
)
from thermview.radiometry.coverage import coverage_factor, effective_freedom
from thermview.radiometry.shiny import SHINY_BELOW, ShinyMap
from thermview.radiometry.size import Recovery, corrected
from thermview.radiometry.uncertainty import LIMIT_K
from thermview.regions import Region, RegionPixels, Shape, Spot, Statistic
from thermview.session.kept_readings import (
    STEP,
    apparent_k,
    brightness,
    moved,
    recovery_of,
    rise_of,
    temperature_of,
    unreadable,
)

MOSTLY = 0.5
"""A region with more shiny pixels than this share of it is not readable."""
OUTSIDE = 0.01
"""Standard uncertainty per K outside the calibrated range (common practice, no source)."""
NO_CORRECTION = 0.97
"""A part that shows more of its rise than this needs no correction for its size."""
DOUBT_PLACES = 9
"""Temperatures between which a curve's uncertainty is interpolated."""
POSSIBLE_K = (50.0, 5000.0)
"""What a bolometer's counts can mean; beyond it there is next to no radiance in the band."""

Place = tuple[float, float]


NO_VALUE, NO_ZERO = "no value here", "no zero was taken"


@dataclass(frozen=True, slots=True, eq=False)
class Judge:
    """All that decides what numbers are worth, besides the numbers.

    Attributes
    ----------
    scene, scale : Scene, Scale
        Of the source.
    profile : CameraProfile or None
        What is known of the camera.
    netd_k, netd_freedom : float or None, float
        Its noise, K (None: what is usual), and the degrees of freedom where few frames tell it.
    limit_k : float
        Standard uncertainty above which nothing is shown, K.
    shiny : ShinyMap or None
        Which pixels mirror too much.
    mm_per_px : float or None
        Length of a pixel on the board.
    bodies_mm : mapping of str to (width, height)
        Parts' bodies along the picture's axes, mm, by designator.
    """

    scene: Scene
    scale: Scale
    profile: CameraProfile | None = None
    netd_k: float | None = None
    netd_freedom: float = math.inf
    limit_k: float = LIMIT_K
    shiny: ShinyMap | None = None
    mm_per_px: float | None = None
    bodies_mm: Mapping[str, tuple[float, float]] = field(default_factory=dict)

    # -- what a reading is made with ---------------------------------------------------------

    def setting(self, region: Region) -> Setting | None:
        """Return what the region's temperatures are computed with; None: they are apparent."""
        if self.scale.relative:
            return None
        return setting_for(region.emissivity, region.reflected_k, self.scene)

    def noise_k(self, pixels: int = 1) -> float | None:
        """Return the noise of a mean over so many pixels of one frame, K; None: not known."""
        stated = self.profile.netd_k if self.profile is not None else None
        known = self.netd_k if self.netd_k is not None else stated
        return None if known is None else known / math.sqrt(max(pixels, 1))

    def accuracy_k(self, apparent_k: float) -> float | None:
        """Return the camera's standard uncertainty at an apparent temperature, K; None: usual."""
        profile = self.profile
        if profile is None:
            return None
        if profile.calibration is None:
            return profile.accuracy_k
        if not math.isfinite(apparent_k):
            return None
        low_k, high_k = profile.calibration.range_k
        outside_k = max(low_k - apparent_k, apparent_k - high_k, 0.0)
        fitted_k = float(profile.calibration.u_k(apparent_k))
        return round(math.hypot(fitted_k, OUTSIDE * outside_k), 3)

    @property
    def _camera_freedom(self) -> float:
        calibration = self.profile.calibration if self.profile is not None else None
        return math.inf if calibration is None else calibration.freedom

    def doubt(
        self, region: Region, setting: Setting, statistic: Statistic, apparent_k: float
    ) -> Doubt:
        """Return how well everything is known that the region's number is made from."""
        pixels = pixel_count(region.shape) if statistic == "mean" else 1
        usual = replace(
            usual_doubt(
                setting, netd_k=self.noise_k(pixels), accuracy_k=self.accuracy_k(apparent_k)
            ),
            camera_freedom=self._camera_freedom,
            noise_freedom=self.netd_freedom,
        )
        if region.emissivity is None and self.scene.emissivity is None:
            return replace(usual, emissivity=0.0)  # apparent: of a black body by definition
        emissivity_u, reflected_u_k = usual.emissivity, usual.reflected_k
        if region.emissivity is not None and region.emissivity_u is not None:
            emissivity_u = region.emissivity_u
        if region.reflected_k is not None and region.reflected_u_k is not None:
            reflected_u_k = region.reflected_u_k
        elif region.reflected_k is None and self.scene.reflected_u_k is not None:
            reflected_u_k = self.scene.reflected_u_k
        return replace(usual, emissivity=emissivity_u, reflected_k=reflected_u_k)

    # -- readings ----------------------------------------------------------------------------

    def temperature(
        self,
        region: Region,
        statistic: Statistic,
        value_k: float,
        *,
        place: Place | None = None,
        around_k: float = math.nan,
    ) -> Reading:
        """Return what a region's temperature is worth.

        Parameters
        ----------
        region, statistic : Region, Statistic
            What was measured.
        value_k : float
            The number, K: of the object where an emissivity is stated, else apparent.
        place : (x, y), optional
            Pixel of the number, for a highest or lowest one, px.
        around_k : float
            The same number of the board around the part, K; NaN: not known.
        """
        reason = self._reason(region, value_k, place)
        if reason:
            return unreadable(reason)
        if self.scale.relative:
            return brightness(value_k)
        setting = self.setting(region) or Setting()
        doubt = self.doubt(region, setting, statistic, apparent_k(round(value_k * STEP), setting))
        found = temperature_of(round(value_k * STEP), setting, doubt, self.limit_k)
        return self._sized(moved(found, value_k), region, statistic, around_k)

    def rise(
        self,
        region: Region,
        statistic: Statistic,
        now_k: float,
        zero_k: float,
        *,
        place: Place | None = None,
        around_k: float = math.nan,
    ) -> Reading:
        """Return what a region's rise is worth; parameters as for `temperature`.

        `around_k` is the rise of the board around the part.
        """
        if not math.isfinite(zero_k) and math.isfinite(now_k):
            return unreadable(NO_ZERO)
        reason = self._reason(region, now_k, place) or self._reason(region, zero_k, None)
        if reason:
            return unreadable(reason)
        if self.scale.relative:
            return brightness(now_k - zero_k)
        setting = self.setting(region) or Setting()
        doubt = self.doubt(region, setting, statistic, apparent_k(round(now_k * STEP), setting))
        found = rise_of(round(now_k * STEP), round(zero_k * STEP), setting, doubt, self.limit_k)
        return self._sized(moved(found, now_k - zero_k), region, statistic, around_k)

    def difference(
        self, first: Region, second: Region, statistic: Statistic, first_k: float, second_k: float
    ) -> Reading:
        """Return what one region less another is worth: the camera's own error cancels.

        Surfaces are taken as independent of each other.
        """
        ends = [
            self._uncommon(region, statistic, value_k)
            for region, value_k in ((first, first_k), (second, second_k))
        ]
        for end in ends:
            if not end.readable:
                return end
        apart_k = first_k - second_k
        gain_k = usual_doubt(Setting()).camera_gain * abs(apart_k)
        u_k = math.hypot(ends[0].u_k, ends[1].u_k, gain_k)
        shares_k = (ends[0].u_k, ends[1].u_k, gain_k)
        freedom = float(effective_freedom(shares_k, (ends[0].freedom, ends[1].freedom, math.inf)))
        reach_k = float(coverage_factor(freedom)) * u_k
        most = max(ends, key=lambda end: end.u_k)
        reading = replace(
            most,
            value_k=apart_k,
            u_k=u_k,
            low_k=apart_k - reach_k,
            high_k=apart_k + reach_k,
            freedom=freedom,
        )
        if self.scale.relative or u_k <= self.limit_k:
            return reading
        words = f"uncertain by {u_k:.1f} K, mostly {most.dominant}; the limit is {self.limit_k:g} K"
        return replace(reading, value_k=math.nan, readable=False, reason=words)

    def difference_doubts(
        self,
        regions: tuple[Region, Region],
        statistic: Statistic,
        values_k: tuple[NDArray[np.floating], NDArray[np.floating]],
    ) -> NDArray[np.float64]:
        """Return the standard uncertainty of one region less another in every frame, K.

        Parameters
        ----------
        regions, statistic
            As for `difference`.
        values_k : two ndarrays, shape (frames,)
            The regions' temperatures, K; NaN where there is none.

        Returns
        -------
        ndarray, shape (frames,)
            NaN where the difference has no uncertainty.
        """
        own = [
            self._own_doubts(region, statistic, np.asarray(kelvin, np.float64))
            for region, kelvin in zip(regions, values_k, strict=True)
        ]
        gain_k = usual_doubt(Setting()).camera_gain * (values_k[0] - values_k[1])
        return np.asarray(np.hypot(np.hypot(*own), gain_k))

    def _own_doubts(
        self, region: Region, statistic: Statistic, kelvin: NDArray[np.float64]
    ) -> NDArray[np.float64]:
        """Return `_uncommon`'s uncertainties, by a few temperatures: they change slowly."""
        known = kelvin[np.isfinite(kelvin)]
        if not known.size:
            return np.full(kelvin.shape, np.nan)
        grid_k = np.linspace(known.min(), known.max(), DOUBT_PLACES)
        doubts = [self._uncommon(region, statistic, value_k) for value_k in grid_k.tolist()]
        u_k = np.array([one.u_k if one.readable else np.nan for one in doubts])
        return np.asarray(np.interp(kelvin, grid_k, u_k), np.float64)

    def _uncommon(self, region: Region, statistic: Statistic, value_k: float) -> Reading:
        """Return a temperature with what it does not share with another of the same picture."""
        reason = self._reason(region, value_k, None)
        if reason:
            return unreadable(reason)
        if self.scale.relative:
            return brightness(value_k)
        setting = self.setting(region) or Setting()
        doubt = self.doubt(region, setting, statistic, value_k)
        own = replace(doubt, camera_k=0.0)
        return moved(temperature_of(round(value_k * STEP), setting, own, math.inf), value_k)

    # -- why a number may not be shown --------------------------------------------------------

    def _reason(self, region: Region, value_k: float, place: Place | None) -> str:
        if not math.isfinite(value_k):
            if self.setting(region) is None:
                return NO_VALUE
            return "no object could look like that: check emissivity and reflection"
        if not (self.scale.relative or POSSIBLE_K[0] < value_k < POSSIBLE_K[1]):
            return "beyond what any camera reads: the scale is not right"
        return self.shiny_reason(region, place)

    def shiny_reason(self, region: Region, place: Place | None = None) -> str:
        """Return why the region's surface mirrors too much to be read, empty where it does not.

        A region that states itself how little it emits is judged by its uncertainty instead.
        """
        if region.emissivity is not None and region.emissivity < SHINY_BELOW:
            return ""
        share = self.shiny_share(region)
        if share > MOSTLY:
            return f"shiny: {share:.0%} of it mirrors its surroundings"
        if place is not None and self._shiny_at(*place):
            return "shiny: this pixel of it mirrors its surroundings"
        return ""

    def shiny_share(self, region: Region) -> float:
        """Return which share of a region's pixels is marked as shiny, 0 to 1."""
        return shiny_share(self.shiny, region.shape)

    def _shiny_at(self, x: float, y: float) -> bool:
        if self.shiny is None or not self.shiny.known or math.isnan(x) or math.isnan(y):
            return False
        rows, columns = self.shiny.mask.shape
        row, column = int(y), int(x)
        return 0 <= row < rows and 0 <= column < columns and bool(self.shiny.mask[row, column])

    # -- size --------------------------------------------------------------------------------

    def body_px(self, region: Region) -> tuple[float, float] | None:
        """Return the sides of the part in a region, px; None where they are not known."""
        body = region.body_mm or self.bodies_mm.get(region.name)
        if body is None or self.mm_per_px is None or isinstance(region.shape, Spot):
            return None
        return body[0] / self.mm_per_px, body[1] / self.mm_per_px

    def recovery(self, region: Region, statistic: Statistic) -> Recovery | None:
        """Return which share of its rise the region's part shows; None where that is not known."""
        body = self.body_px(region)
        spread = self.profile.spread if self.profile is not None else None
        if body is None or spread is None:
            return None
        try:
            return recovery_of(*body, spread, statistic == "mean")
        except UsageError:
            return None

    def _sized(
        self, reading: Reading, region: Region, statistic: Statistic, around_k: float
    ) -> Reading:
        kept = self.recovery(region, statistic)
        if kept is None or kept.share >= NO_CORRECTION:
            return reading
        if not (kept.too_small or math.isfinite(around_k)):
            return reading
        return corrected(reading, kept, around_k=around_k, limit_k=self.limit_k)


def shiny_share(shiny: ShinyMap | None, shape: Shape) -> float:
    """Return which share of a shape's pixels is marked as shiny, 0 to 1; 0 where none is known."""
    if shiny is None or not shiny.known:
        return 0.0
    rows, columns = shiny.mask.shape
    indices = RegionPixels.of(shape, (rows, columns)).indices
    return float(shiny.mask.ravel()[indices].mean()) if indices.size else 0.0


@lru_cache(maxsize=512)
def pixel_count(shape: Shape) -> int:
    """Return how many pixels a region takes, 1 or more: what its mean's noise goes by."""
    _, _, right, bottom = shape.bounds()
    picture = (max(math.ceil(bottom), 0) + 1, max(math.ceil(right), 0) + 1)
    return max(1, int(RegionPixels.of(shape, picture).indices.size))
