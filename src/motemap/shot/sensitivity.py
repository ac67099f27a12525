"""How faint a speck this frame could have shown.

The scatter of every detection filter is measured in the frame itself; how much of a shadow's
depth each filter passes on follows from wave optics and the filter's shape. A speck is found
when any filter's answer exceeds its threshold, and the promise is the depth at which that
happens nine times in ten.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.optics.waves import ring_middles, shadows

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.records import Detection, ScaleNoise
    from motemap.settings import DetectSettings

NINE_IN_TEN = 0.9
"""Share of the specks of the depth that is stated that are found: what the report promises."""
FAINT_SPECK_UM = 5.0
"""A speck about as small as can be seen; the shadows of all smaller ones have its shape."""
STEPS_BETWEEN = 4
"""The narrowest filters are hardly wider than the steps in which shadows are tabled."""
LEAST_SHARE = 0.01
"""A filter that passes on less of a depth finds nothing anyway; keeps it from being divided by."""
SHARED_NOISE = 0.8
"""Correlation between the answers of neighbouring filters, whose sigmas a and b = 2 a differ by
two: ``2 a b / (a^2 + b^2)`` (derived, the surround left out)."""
CODED_LOSS = 1.03
"""Compression to coarse codes takes so much of a faint depth (drawn frames of all qualities)."""
STICKING_SPREAD = 0.41
"""Where light sticks to codes a depth is off by up to half the floor on either side, and so is the
level about it: two even spreads of standard deviation ``1 / sqrt(12)`` (derived)."""
CODED_UNEVEN = 0.2
"""Between few codes the scatter changes with the light from band to band, more finely than specks
are apart; no more of it than this moves what is found (drawn frames without dithering noise)."""
N_DEPTHS, MOST_SIGMAS = 200, 5.0
"""Depths among which the one wanted is sought, and how far from the half-way one they reach."""
NODES, WEIGHTS = (np.asarray(part) for part in np.polynomial.hermite_e.hermegauss(24))
"""Gauss-Hermite quadrature: places of the noise that filters have in common, and their weights."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FaintShadow:
    """The shadow of a faint speck, for a depth of 1.

    Parameters
    ----------
    radius_px : (n,) float64
        Distances from its centre, evenly spaced [stored px].
    loss_frac : (n,) float64
        Light lost there over that lost where it is darkest.
    """

    radius_px: NDArray[np.float64]
    loss_frac: NDArray[np.float64]

    @classmethod
    def thrown(cls, *, tau_um: float, f_number: float, pitch_um: float) -> FaintShadow:
        """Return what a small speck at an air-equivalent distance throws, by wave optics."""
        seen = shadows(tau_um, f_number, pitch_um)
        n_radii = seen.radius_um.size * STEPS_BETWEEN
        radius_um = ring_middles(n_radii, 2 * float(seen.radius_um[0]) / STEPS_BETWEEN)
        loss_frac = seen.profile(FAINT_SPECK_UM, radius_um)
        return cls(radius_px=radius_um / pitch_um, loss_frac=loss_frac / loss_frac.max())

    @property
    def width_px(self) -> float:
        """Width at half depth [px]."""
        first = int(np.argmax(self.loss_frac < 1 / 2))
        inner, outer = self.loss_frac[max(first - 1, 0)], self.loss_frac[first]
        ends_px = self.radius_px[max(first - 1, 0)], self.radius_px[first]
        return 2 * float(np.interp(1 / 2, (outer, inner), ends_px[::-1]))

    def share_at(self, radius_px: float) -> float:
        """Return the share of the depth so far from the centre."""
        return float(np.interp(radius_px, self.radius_px, self.loss_frac))

    def passed_share(self, scale: ScaleNoise, bin_px: int) -> float:
        """Return the share of the depth that a detection filter passes on.

        That is the shadow's mean under the narrow Gaussian less that under the wide one. Cells
        are averaged before they are filtered, each filter's as wide as its sigma, and a speck may
        lie anywhere in its cell. Each time a square of side c adds ``c^2 / 12`` to a variance; of
        the averaging the stored pixel has its part already.
        """
        side_px = scale.sigma_cell * bin_px
        averaged_px2 = (2 * side_px**2 - 1) / 12
        narrow, wide = (
            self._mean_under((sigma_cell * bin_px) ** 2 + averaged_px2)
            for sigma_cell in (scale.sigma_cell, scale.surround_cell)
        )
        return max(narrow - wide, LEAST_SHARE)

    def _mean_under(self, variance_px2: float) -> float:
        """Return the mean weighted by a round Gaussian about the centre."""
        step_px = self.radius_px[1] - self.radius_px[0]
        bell = np.exp(-(self.radius_px**2) / (2 * variance_px2)) / variance_px2
        return float((self.loss_frac * bell * self.radius_px).sum() * step_px)


def smallest_depth(
    detection: Detection,
    *,
    shadow: FaintShadow,
    bin_px: int,
    floor_frac: float,
    settings: DetectSettings,
) -> float:
    """Return the depth from which on nine in ten specks of this frame are found.

    Parameters
    ----------
    detection : Detection
        Its `scale_noise` holds the scatter of every filter.
    shadow : FaintShadow
        What a small speck throws in this frame.
    bin_px : int
        Stored pixels along the side of a cell.
    floor_frac : float
        Depth that coarse codes can feign.
    settings : DetectSettings
    """
    share = np.array([shadow.passed_share(scale, bin_px) for scale in detection.scale_noise])
    scatter = np.array([scale.scatter_frac for scale in detection.scale_noise])
    most_uneven = CODED_UNEVEN if floor_frac > 0 else np.inf
    uneven = np.array([min(scale.uneven_frac, most_uneven) for scale in detection.scale_noise])
    strictness = np.array([scale.strictness for scale in detection.scale_noise])
    lowest = max(settings.depth_min_frac, floor_frac)
    needed = settings.snr_min * strictness
    half = np.maximum(needed * scatter, lowest) / share
    if floor_frac > 0:
        half *= CODED_LOSS
    # Noise moves the answer, and a scatter that is uneven or badly known moves the threshold.
    noise = np.hypot(1.0, needed * uneven) * scatter / share
    spread = np.hypot(noise, STICKING_SPREAD * floor_frac)
    best = int(np.argmin(half + spread))
    depths = half[best] + np.linspace(-MOST_SIGMAS, MOST_SIGMAS, N_DEPTHS) * spread[best]
    # The share rises with depth: what encloses the one wanted is found by halving.
    above = bisect_left(
        depths, NINE_IN_TEN, hi=N_DEPTHS - 1, key=lambda depth: _found_share(depth, half, spread)
    )
    ends = depths[max(above - 1, 0) : above + 1]
    shares = [_found_share(depth, half, spread) for depth in ends]
    return float(np.interp(NINE_IN_TEN, shares, ends))


def _found_share(depth: float, half: NDArray[np.float64], spread: NDArray[np.float64]) -> float:
    """Return the share of specks of a depth that at least one of several filters finds.

    Each finds half of those of depth `half`, with a normal `spread`; what they have in common of
    their noise is averaged over (Gauss-Hermite).
    """
    missing = (half - depth) / spread
    own = (missing - np.sqrt(SHARED_NOISE) * NODES[:, None]) / np.sqrt(1 - SHARED_NOISE)
    return float(1 - _normal_share(own).prod(axis=1) @ WEIGHTS / WEIGHTS.sum())


def _normal_share(sigmas: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the share of a normal distribution that lies below so many standard deviations."""
    shares = map(math.erfc, (sigmas * -math.sqrt(0.5)).ravel().tolist())
    return np.fromiter(shares, np.float64, sigmas.size).reshape(sigmas.shape) / 2
