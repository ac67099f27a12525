"""Whether a mark seen in one frame would have shown in another."""

import math

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from motemap.records import FrameReport, Spot

FOUND_AT_LIMIT = 1.2816
"""Standard normal quantile of nine in ten: what `Sensitivity` promises at its limit."""

NOISE_AT_LIMIT = 0.137
"""Noise of a mark at the limit over its own depth: signal to noise 6 + 1.28 there."""

DEPTH_ERROR_FRAC = 0.08
SIZE_ERROR_FRAC = 0.10
MODEL_ERROR_FRAC = 0.20
"""Error of carrying a depth over to another aperture, beyond that of the measurement."""

BLENDED_AT_LIMIT = 0.02
"""Share of marks at the limit that are lost to neighbours and structure rather than to noise;
it falls with the square of the depth. Seen on drawn frames."""

SAME_STOP = 0.2
"""Apertures nearer than this count as equal [stops]: nominal against exact f-numbers."""


def is_same_aperture(before: FrameReport, after: FrameReport) -> bool:
    """Tell whether two frames were shot at one aperture; unknown ones are taken as such."""
    one, two = before.exposure.f_number, after.exposure.f_number
    return not (one and two) or abs(2.0 * math.log2(two / one)) <= SAME_STOP


def miss_chance(seen: FrameReport, other: FrameReport) -> NDArray[np.float64]:
    """Reckon how likely each mark of one frame would be missed by another, were it there.

    Parameters
    ----------
    seen : FrameReport
        Frame whose marks are asked about.
    other : FrameReport
        Frame that may have missed them.

    Returns
    -------
    (N,) float64
        0-1 for each spot of `seen`; 1 where nothing is known about the other frame.
    """
    answers = [_over_limit(spot, seen, other) for spot in seen.spots]
    log_excess = np.array([math.log(over) if over else -np.inf for over, _ in answers])
    error = np.array([error for _, error in answers])
    at_half = math.log1p(-FOUND_AT_LIMIT * NOISE_AT_LIMIT)
    by_noise = ndtr(-(log_excess - at_half) / np.hypot(error, NOISE_AT_LIMIT))
    by_blending = BLENDED_AT_LIMIT * np.exp(-2.0 * np.maximum(log_excess, 0.0))
    chance: NDArray[np.float64] = np.maximum(by_noise, by_blending)
    return chance


def _over_limit(spot: Spot, seen: FrameReport, other: FrameReport) -> tuple[float, float]:
    """Depth due in the other frame over the least it shows, and that ratio's relative error.

    At one aperture depths compare directly; otherwise a speck goes by its size (depth rises
    with the size squared) and anything else by how its depth changes with the f-number.
    """
    least = other.sensitivity
    noise = 1.0 / max(spot.snr, 1.0)
    if is_same_aperture(seen, other) and least.smallest_depth_frac:
        return spot.depth_frac / least.smallest_depth_frac, math.hypot(DEPTH_ERROR_FRAC, noise)
    if spot.kind != "fibre" and spot.particle_um and least.smallest_particle_um:
        ratio = (spot.particle_um / least.smallest_particle_um) ** 2
        return ratio, 2.0 * math.hypot(SIZE_ERROR_FRAC, noise)
    if not least.smallest_depth_frac:
        return 0.0, MODEL_ERROR_FRAC
    due = spot.depth_frac * _stops_factor(spot, seen, other)
    error = math.hypot(MODEL_ERROR_FRAC, noise)
    return min(due, 1.0) / least.smallest_depth_frac, error


def _stops_factor(spot: Spot, seen: FrameReport, other: FrameReport) -> float:
    one, two = seen.exposure.f_number, other.exposure.f_number
    if not (one and two):
        return 1.0
    return (two / one) ** (1 if spot.kind == "fibre" else 2)
