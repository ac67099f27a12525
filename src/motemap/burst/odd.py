"""Places where one frame of a burst says something else than the others."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from motemap.burst.scatter import scatter_about_others
from motemap.filters import NOISE_OF_BLUR, smooth

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

LOOK_EVERY_SIGMAS = 2.0
"""Blurred cells are alike over so many sigmas: those so far apart tell their scatter."""

MOST_ROUNDS = 3
PAIR = 2


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
        Standard deviation of one cell by its photosites: the least by which frames differ. Where
        the screen's texture moves between them they differ by more, which is measured.
    valid : (N, H, W) bool

    Returns
    -------
    (N, H, W) bool
        True where a frame is at odds with the others.
    """
    is_odd = np.zeros(contrast.shape, dtype=np.bool_)
    for sigma in SIGMAS_CELL:
        blurred = np.stack([smooth(plane, sigma) for plane in contrast])
        is_usable = valid & ~is_odd
        noise = _with_texture(
            blurred, noise_frac / np.float32(NOISE_OF_BLUR * sigma), is_usable, sigma
        )
        is_odd |= _odd_at_scale(blurred, noise, is_usable, sigma)
    return is_odd


def _with_texture(
    blurred: NDArray[np.float32],
    noise: NDArray[np.float32],
    is_usable: NDArray[np.bool_],
    sigma: float,
) -> NDArray[np.float32]:
    """Return the scatter of each frame about the others, by what it is and not by photosites alone.

    What is odd is small beside a strip, and moves no median; texture is all over it. Else texture
    would be cut out of one frame here and of another there, and little of it would average out.

    Parameters
    ----------
    blurred, noise : (N, h, w) float32
        Contrast, and what its photosites leave of noise in it.
    is_usable : (N, h, w) bool

    Returns
    -------
    (N, h, w) float32
    """
    step = int(LOOK_EVERY_SIGMAS * sigma)
    few = np.s_[:, ::step, ::step]
    seen, expected, usable = blurred[few], noise[few], is_usable[few].all(axis=0)
    if not usable.any():
        return noise
    seen, expected = seen[:, usable], expected[:, usable]
    scatter = scatter_about_others(seen)
    texture = np.sqrt(np.maximum(scatter**2 - np.median(expected, axis=1) ** 2, 0.0))
    scatter_frac: NDArray[np.float32] = np.hypot(noise, texture.astype(np.float32)[:, None, None])
    return scatter_frac


def _odd_at_scale(
    blurred: NDArray[np.float32],
    noise: NDArray[np.float32],
    valid: NDArray[np.bool_],
    sigma: float,
) -> NDArray[np.bool_]:
    is_used = valid.copy()
    found = np.zeros(valid.shape, dtype=np.bool_)
    for _ in range(min(MOST_ROUNDS, len(blurred) // 2)):
        excess, worst = _worst(blurred, noise, is_used)
        if not (excess > ODD_SIGMAS).any():
            break
        for index in range(len(blurred)):
            is_part = (worst == index) & (excess > GROW_SIGMAS)
            is_peak = is_part & (excess > ODD_SIGMAS)
            if is_peak.any():
                near = smooth(is_peak.astype(np.float32), 2.0 * sigma) > np.float32(1e-3)
                found[index] |= is_peak | (near & is_part)
        is_used &= ~found
    return found


def _worst(
    blurred: NDArray[np.float32], noise: NDArray[np.float32], is_used: NDArray[np.bool_]
) -> tuple[NDArray[np.float32], NDArray[np.int8]]:
    """Find which frame of each place departs most from the mean of the others.

    Returns
    -------
    excess : (H, W) float32
        How far it departs, in standard deviations.
    worst : (H, W) int8
        Its number.
    """
    n_used = is_used.sum(axis=0).astype(np.float32)
    total = np.where(is_used, blurred, np.float32(0.0)).sum(axis=0)
    excess = np.zeros(n_used.shape, dtype=np.float32)
    best_rank = np.full(n_used.shape, -1.0, dtype=np.float32)
    worst = np.zeros(n_used.shape, dtype=np.int8)
    for index, plane in enumerate(blurred):
        own = _excess(plane, noise[index], is_used[index], total, n_used)
        rank = np.abs(plane) if len(blurred) == PAIR else own
        is_better = rank > best_rank
        excess[is_better], worst[is_better] = own[is_better], index
        np.maximum(best_rank, rank, out=best_rank)
    return excess, worst


def _excess(
    plane: NDArray[np.float32],
    noise: NDArray[np.float32],
    is_used: NDArray[np.bool_],
    total: NDArray[np.float32],
    n_used: NDArray[np.float32],
) -> NDArray[np.float32]:
    """How far one frame is from the mean of the others, in standard deviations."""
    n_others = n_used - is_used
    others = np.where(is_used, total - plane, total) / np.maximum(n_others, np.float32(1.0))
    spread = noise * np.sqrt(1.0 + 1.0 / np.maximum(n_others, np.float32(1.0)))
    tolerance = np.float32(TOLERANCE_FRAC) * np.abs(others)
    gap = np.maximum(np.abs(plane - others) - tolerance, np.float32(0.0))
    can_tell = is_used & (n_others > 0)
    excess: NDArray[np.float32] = np.where(can_tell, gap / spread, np.float32(0.0))
    return excess
