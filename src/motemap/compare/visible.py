"""Whether a mark seen in one frame would have shown in another."""

import math

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from motemap.compare.aperture import Apertures
from motemap.matching import SIZE_ERROR_FRAC
from motemap.records import FrameReport, Spot
from motemap.settings import DetectSettings
from motemap.showing import depth_of

FOUND_AT_LIMIT = 1.2816
"""Standard normal quantile of nine in ten: what `Sensitivity` promises at its limit."""

NOISE_AT_LIMIT = 1.0 / (DetectSettings().snr_min + FOUND_AT_LIMIT)
"""Noise of a mark at the limit over its own depth: it lies that much above the signal to noise
that a mark needs. Filters that are stricter than others have less of it there."""

DEPTH_ERROR_FRAC = 0.08
"""Relative error of a depth, noise apart; a choice, not measured."""
MODEL_ERROR_FRAC = 0.20
"""Error of carrying a depth over to another aperture, beyond that of the measurement."""

BLENDED_AT_LIMIT = 0.02
"""Share of marks at the limit that are lost to neighbours and structure rather than to noise;
it falls with the square of the depth. Seen on drawn frames."""


def miss_chance(seen: FrameReport, other: FrameReport, apertures: Apertures) -> NDArray[np.float64]:
    """Reckon how likely each mark of one frame would be missed by another, were it there.

    Parameters
    ----------
    seen : FrameReport
        Frame whose marks are asked about.
    other : FrameReport
        Frame that may have missed them.
    apertures : Apertures
        From the frame of the marks to the other one.

    Returns
    -------
    (N,) float64
        0-1 for each spot of `seen`; 1 where nothing is known about the other frame.
    """
    answers = [_over_limit(spot, other, apertures) for spot in seen.spots]
    log_excess = np.array([math.log(over) if over else -np.inf for over, _ in answers])
    error = np.array([error for _, error in answers])
    at_half = math.log1p(-FOUND_AT_LIMIT * NOISE_AT_LIMIT)
    by_noise = ndtr(-(log_excess - at_half) / np.hypot(error, NOISE_AT_LIMIT))
    by_blending = BLENDED_AT_LIMIT * np.exp(-2.0 * np.maximum(log_excess, 0.0))
    chance: NDArray[np.float64] = np.maximum(by_noise, by_blending)
    return chance


def _over_limit(spot: Spot, other: FrameReport, apertures: Apertures) -> tuple[float, float]:
    """Depth due in the other frame over the least it shows, and that ratio's relative error.

    At one aperture depths compare directly; otherwise a speck goes by its size (depth rises
    with the size squared), a fibre by how its depth changes with the f-number, as does everything
    where the marks had to tell it, and anything else by its forecast: a film wider than the blur
    disc is no deeper at a narrower aperture.
    """
    least = other.sensitivity
    noise = 1.0 / max(spot.snr, 1.0)
    if apertures.ratio is None:
        return 0.0, MODEL_ERROR_FRAC
    if apertures.is_same and apertures.is_read and least.smallest_depth_frac:
        return spot.depth_frac / least.smallest_depth_frac, math.hypot(DEPTH_ERROR_FRAC, noise)
    goes_by_size = apertures.is_read and spot.kind == "speck"
    if goes_by_size and spot.particle_um and least.smallest_particle_um:
        ratio = (spot.particle_um / least.smallest_particle_um) ** 2
        return ratio, 2.0 * math.hypot(SIZE_ERROR_FRAC, noise)
    if not least.smallest_depth_frac:
        return 0.0, MODEL_ERROR_FRAC
    has_law = spot.kind == "fibre" or not apertures.is_read
    due = None if has_law else _forecast(spot, other)
    if due is None:
        due = spot.depth_frac * apertures.depth_factor(spot)
    error = math.hypot(MODEL_ERROR_FRAC, noise)
    return min(due, 1.0) / least.smallest_depth_frac, error


def _forecast(spot: Spot, other: FrameReport) -> float | None:
    """Depth that a mark's own forecast gives it at another frame's aperture; None without one."""
    f_number = other.exposure.f_number
    return depth_of(spot, f_number) if f_number and any((spot.depth_at or {}).values()) else None
