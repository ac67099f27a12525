"""Places where one frame of a burst says something else than the others."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from motemap.filters import smooth

if TYPE_CHECKING:
    from numpy.typing import NDArray

SIGMAS_CELL = (1.5, 5.0)
"""Scales at which a frame is held against the others: blemishes from specks to smudges."""

ODD_SIGMAS = 4.0
"""Departure, in standard deviations of the blurred difference, that takes a place of one
frame out. What stays below it is diluted by the other frames and lies under any detection."""

GROW_SIGMAS = 2.0
"""Departure down to which a place taken out is followed outward."""

TOLERANCE_FRAC = 0.1
"""Share of a mark's depth by which frames may differ without being at odds: focus and
aperture never repeat exactly."""

MOST_ROUNDS = 3
PAIR = 2
LEAST_WEIGHT = 1e-6


def odd_places(
    contrast: NDArray[np.float32], noise_frac: NDArray[np.float32], valid: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    """Mark, frame by frame, what the other frames do not show.

    The frame that departs most from the mean of the others is taken out of a place, and the
    rest looked at again. Of two frames the one farther from plain light is taken out.

    Parameters
    ----------
    contrast : (N, H, W) float32
        Two frames or more, aligned.
    noise_frac : (N, H, W) float32
        Standard deviation of one cell.
    valid : (N, H, W) bool

    Returns
    -------
    (N, H, W) bool
        True where a frame is at odds with the others.
    """
    is_odd = np.zeros(contrast.shape, dtype=np.bool_)
    for sigma in SIGMAS_CELL:
        blurred = np.stack([smooth(plane, sigma) for plane in contrast])
        noise = noise_frac / np.float32(2.0 * math.sqrt(math.pi) * sigma)
        is_odd |= _odd_at_scale(blurred, noise, valid & ~is_odd, sigma)
    return is_odd


def _odd_at_scale(
    blurred: NDArray[np.float32],
    noise: NDArray[np.float32],
    valid: NDArray[np.bool_],
    sigma: float,
) -> NDArray[np.bool_]:
    is_used = valid.copy()
    found = np.zeros(valid.shape, dtype=np.bool_)
    for _ in range(min(MOST_ROUNDS, len(blurred) // 2)):
        excess = _excess(blurred, noise, is_used)
        is_worst = _is_worst(excess, blurred)
        is_peak = is_worst & (excess > ODD_SIGMAS)
        if not is_peak.any():
            break
        for index in np.flatnonzero(is_peak.any(axis=(1, 2))):
            near = smooth(is_peak[index].astype(np.float32), 2.0 * sigma) > np.float32(1e-3)
            is_part = is_worst[index] & (excess[index] > GROW_SIGMAS)
            found[index] |= is_peak[index] | (near & is_part)
        is_used &= ~found
    return found


def _excess(
    blurred: NDArray[np.float32], noise: NDArray[np.float32], is_used: NDArray[np.bool_]
) -> NDArray[np.float32]:
    """How far each frame is from the mean of the others, in standard deviations."""
    weight = is_used.astype(np.float32)
    n_used = weight.sum(axis=0)
    total = (blurred * weight).sum(axis=0)
    n_others = np.maximum(n_used - weight, np.float32(LEAST_WEIGHT))
    others = (total - blurred * weight) / n_others
    spread = noise * np.sqrt(1.0 + 1.0 / np.maximum(n_others, 1.0))
    tolerance = np.float32(TOLERANCE_FRAC) * np.abs(others)
    gap = np.maximum(np.abs(blurred - others) - tolerance, 0.0)
    can_tell = is_used & (n_used > 1)
    excess: NDArray[np.float32] = np.where(can_tell, gap / spread, np.float32(0.0))
    return excess


def _is_worst(excess: NDArray[np.float32], blurred: NDArray[np.float32]) -> NDArray[np.bool_]:
    """Which frame of each place departs most."""
    rank = np.abs(blurred) if len(blurred) == PAIR else excess
    worst: NDArray[np.bool_] = np.arange(len(blurred))[:, None, None] == rank.argmax(axis=0)
    return worst
