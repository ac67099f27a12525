"""How faint a speck could be found at all: a filter that knows its shape and the noise.

A matched filter looks for one known shape in white noise of known strength. Its output at a
speck is normal with unit deviation about the speck's signal to noise (North 1943; any book on
detection, for instance S. M. Kay, Fundamentals of Statistical Signal Processing II, 1998,
chapter 4), so it finds the share ``Phi(snr - T)``. The threshold `T` follows from the false
marks one allows: noise alone has ``A sqrt(det L) (2 pi)^(-3/2) T exp(-T^2/2)`` maxima above a
high `T` in an area `A`, where `L` holds the mean squared slopes of the filter's output
(R. J. Adler, The Geometry of Random Fields, 1981, chapter 6).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import fft
from scipy.optimize import brentq, minimize
from scipy.stats import norm

if TYPE_CHECKING:
    from numpy.typing import NDArray

MOST_SIGMAS = 12.0
LEAST_CHANCE = 1e-9
MOST = 0.95
DENSITY = math.pow(2.0 * math.pi, -1.5)
SLOPE_RANGE = (0.05, 8.0)


def slope_power_px2(shape: NDArray[np.float64]) -> float:
    """Return the root of the determinant of the mean squared slopes of a filter's output.

    For the filter of shape ``s`` in white noise the slopes' covariance is
    ``sum(ds_i ds_j) / sum(s^2)`` (derived: the output's autocorrelation is that of `s`); slopes
    are taken in its spectrum.

    Parameters
    ----------
    shape : (h, w) float64
        The shadow, with an empty rim.

    Returns
    -------
    float
        [1/px2]
    """
    power = np.abs(fft.fft2(shape)) ** 2
    down = 2.0 * math.pi * fft.fftfreq(shape.shape[0])[:, None]
    right = 2.0 * math.pi * fft.fftfreq(shape.shape[1])[None, :]
    whole = float(power.sum())
    rows, cols = (float((step**2 * power).sum()) / whole for step in (down, right))
    both = float((down * right * power).sum()) / whole
    return math.sqrt(max(rows * cols - both**2, 0.0))


def false_maxima(threshold: float, area_px2: float, slope_px2: float) -> float:
    """Return how many maxima of pure noise rise above a threshold, on average."""
    density = slope_px2 * DENSITY * threshold * math.exp(-0.5 * threshold**2)
    return area_px2 * density


def threshold_for(false_per_frame: float, area_px2: float, slope_px2: float) -> float:
    """Return the threshold at which noise alone raises so many marks a frame."""

    def excess(threshold: float) -> float:
        return math.log(false_maxima(threshold, area_px2, slope_px2) / false_per_frame)

    # Above 1 the number of maxima only falls.
    return float(brentq(excess, 1.0, MOST_SIGMAS)) if excess(1.0) > 0 else 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Efficiency:
    """Share found as a function of signal to noise: ``Phi(slope (snr - half))``.

    Parameters
    ----------
    half_snr : float
        Signal to noise at which half are found.
    slope : float
        1 for the matched filter.
    """

    half_snr: float
    slope: float = 1.0

    def share(self, snr: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the share found (0-1)."""
        found: NDArray[np.float64] = norm.cdf(self.slope * (snr - self.half_snr))
        return found

    def snr_for(self, share: float) -> float:
        """Return the signal to noise at which a share is found."""
        return self.half_snr + float(norm.ppf(share)) / self.slope


def fit_efficiency(snr: NDArray[np.float64], found: NDArray[np.bool_]) -> Efficiency:
    """Fit the share found to what was found, by largest likelihood.

    Parameters
    ----------
    snr : (N,) float64
        True signal to noise of each speck.
    found : (N,) bool
    """

    def misfit(parameters: NDArray[np.float64]) -> float:
        model = Efficiency(half_snr=float(parameters[0]), slope=math.exp(float(parameters[1])))
        share = np.clip(model.share(snr), LEAST_CHANCE, 1.0 - LEAST_CHANCE)
        return -float(np.where(found, np.log(share), np.log(1.0 - share)).sum())

    start = np.array([float(np.median(snr)), 0.0])
    low, high = (math.log(limit) for limit in SLOPE_RANGE)
    bounds = [(0.0, float(snr.max())), (low, high)]
    best = minimize(misfit, start, method="Nelder-Mead", bounds=bounds)
    return Efficiency(half_snr=float(best.x[0]), slope=math.exp(float(best.x[1])))


@dataclass(frozen=True, slots=True, kw_only=True)
class Distance:
    """How far a tool is from the limit in one kind of frame.

    For one shape depth and signal to noise go together, so a ratio of one is that of the other.

    Parameters
    ----------
    tool, limit : Efficiency
        Share found, over the signal to noise at the photosites.
    stored_share : float
        How much of that signal to noise is left in the stored file (0-1).
    depth_per_snr : float
        Depth of a speck over its signal to noise.
    """

    name: str
    n_specks: int
    tool: Efficiency
    limit: Efficiency
    stored_share: float
    depth_per_snr: float
    n_false: int = 0

    @property
    def half_ratio(self) -> float:
        """Depth at which half are found over the limit's, for what the file holds."""
        return self.stored_share * self.tool.half_snr / self.limit.half_snr

    @property
    def most_ratio(self) -> float:
        """Depth at which 95 % are found over the limit's, for what the file holds."""
        return self.stored_share * self.tool.snr_for(MOST) / self.limit.snr_for(MOST)

    @property
    def photosite_ratio(self) -> float:
        """The same at 95 %, against a limit that knows nothing of rounding and JPEG."""
        return self.tool.snr_for(MOST) / self.limit.snr_for(MOST)

    @property
    def half_depth_frac(self) -> float:
        """Depth at which half are found."""
        return self.depth_per_snr * self.tool.half_snr

    @property
    def most_depth_frac(self) -> float:
        """Depth at which 95 % are found."""
        return self.depth_per_snr * self.tool.snr_for(MOST)
