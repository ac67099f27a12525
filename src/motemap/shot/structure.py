"""Is this a blank field at all? What in the frame is neither smooth nor dust."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.filters import SQUARE, all_of_squares, pool, pool_windows
from motemap.masks import grown
from motemap.mesh import box_statistic

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.records import FlatFrame

BOX_POOLED = 16
LOOK_EVERY = 8
SKIRT_POOLED = 2
"""So far a mark's skirt reaches beyond its cells."""
ROUGH_FRAC = 0.02
"""Scatter within a box, pooled to 4 x 4 cells and free of marks, from which it is no blank."""
BRIGHT_FRAC = 0.05
BRIGHT_SIGMAS = 8.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Structure:
    """How far a frame is from a blank field.

    Parameters
    ----------
    rough_share : float
        Share of boxes with structure coarser than noise (0-1).
    bright_share : float
        Share of cells clearly brighter than the background (0-1); dust never brightens.
    marked_share : float
        Share of the frame inside marks (0-1).
    texture_frac : float
        Median scatter of the pooled contrast: soft screen texture.
    lit_share : float
        Share of the frame bright enough, and not clipped, to judge (0-1).
    fall_off_frac : float
        Darkest over brightest background, 1st to 99th percentile of the lit part.
    """

    rough_share: float
    bright_share: float
    marked_share: float
    texture_frac: float
    lit_share: float
    fall_off_frac: float


def measure_structure(flat: FlatFrame, marked: NDArray[np.bool_]) -> Structure:
    """Measure what speaks against a blank field.

    Parameters
    ----------
    flat : FlatFrame
    marked : (H / 2, W / 2) bool
        Squares of 2 x 2 cells with marks, which are left out.
    """
    squares = pool_windows(flat.contrast, 1)
    left_out = marked
    if not flat.valid.all():
        left_out = marked | ~all_of_squares(flat.valid)
    pooled, taken = pool(squares), pool(left_out)
    pooled[grown(taken > 0, SKIRT_POOLED)] = 0
    scatter = box_statistic(pooled, BOX_POOLED, _deviation)
    bright = squares > BRIGHT_FRAC
    if bright.any():
        noise_frac = flat.noise_frac[::SQUARE, ::SQUARE] / np.float32(SQUARE)
        bright &= squares > BRIGHT_SIGMAS * noise_frac
        bright &= ~left_out | marked
    lit = flat.background[::LOOK_EVERY, ::LOOK_EVERY][flat.valid[::LOOK_EVERY, ::LOOK_EVERY]]
    low, high = np.percentile(lit, (1, 99)) if lit.size else (0.0, 1.0)
    return Structure(
        rough_share=float((scatter > ROUGH_FRAC).mean()),
        bright_share=float(bright.mean()),
        marked_share=float(marked.mean()),
        texture_frac=float(np.median(scatter)),
        lit_share=float(flat.valid.mean()),
        fall_off_frac=float(low / max(high, 1e-9)),
    )


def _deviation(values: NDArray[np.float32]) -> NDArray[np.float32]:
    return np.asarray(values.std(axis=1), dtype=np.float32)
