"""Is this a blank field at all? What in the frame is neither smooth nor dust."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.filters import SQUARE, all_of_squares, pool
from motemap.masks import grown
from motemap.medians import sampled
from motemap.mesh import box_statistic
from motemap.strips import cell_strips, for_each

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.records import FlatFrame

BOX_POOLED = 16
"""Side of a box, in cells pooled 4 x 4."""
SKIRT_POOLED = 2
"""So far a mark's skirt reaches beyond its cells."""
ROUGH_FRAC = 0.02
"""Scatter within a box, pooled to 4 x 4 cells and free of marks, from which it is no blank."""
BRIGHT_FRAC = 0.05
BRIGHT_SIGMAS = 8.0
"""A square is clearly bright by this contrast, if that is so many times its noise."""


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
    n_cut_corners : int
        Corners left out because something in front of the lens cuts them off.
    """

    rough_share: float
    bright_share: float
    marked_share: float
    texture_frac: float
    lit_share: float
    fall_off_frac: float
    n_cut_corners: int = 0


def measure_structure(flat: FlatFrame, marked: NDArray[np.bool_]) -> Structure:
    """Measure what speaks against a blank field.

    Parameters
    ----------
    flat : FlatFrame
    marked : (H / 2, W / 2) bool
        Squares of 2 x 2 cells with marks, which are left out.
    """
    height, width = flat.contrast.shape
    strips = cell_strips(height, width, step=SQUARE**2)
    looks = for_each(lambda rows: _look(flat, marked, rows), strips)
    pooled = np.concatenate([look.pooled for look in looks])
    taken = np.concatenate([look.taken for look in looks])
    pooled[grown(taken, SKIRT_POOLED)] = 0
    scatter = box_statistic(pooled, BOX_POOLED, _deviation)
    lit = sampled(flat.background)[sampled(flat.valid)]
    low, high = np.percentile(lit, (1, 99)) if lit.size else (0.0, 1.0)
    return Structure(
        rough_share=float((scatter > ROUGH_FRAC).mean()),
        bright_share=sum(look.n_bright for look in looks) / marked.size,
        marked_share=float(np.count_nonzero(marked) / marked.size),
        texture_frac=float(np.median(scatter)),
        lit_share=sum(look.n_valid for look in looks) / (height * width),
        fall_off_frac=float(low / max(high, 1e-9)),
        n_cut_corners=flat.n_cut_corners,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Look:
    """What is seen in a strip of a frame.

    Contrast pooled to 4 x 4 cells and where marks or unusable cells are in it, how many squares
    of 2 x 2 cells are bright, and how many cells are usable.
    """

    pooled: NDArray[np.float32]
    taken: NDArray[np.bool_]
    n_bright: int
    n_valid: int


def _look(flat: FlatFrame, marked: NDArray[np.bool_], rows: slice) -> _Look:
    """Look at a strip of rows, whose first begins with a pooled cell."""
    squares = pool(flat.contrast[rows, :])
    valid = flat.valid[rows]
    marked = marked[rows.start // SQUARE : -(-rows.stop // SQUARE)]
    n_valid = int(np.count_nonzero(valid))
    left_out = marked if n_valid == valid.size else marked | ~all_of_squares(valid)
    bright = squares > BRIGHT_FRAC
    if bright.any():
        noise_frac = flat.noise_frac[rows.start : rows.stop : SQUARE, ::SQUARE]
        bright &= squares > BRIGHT_SIGMAS * (noise_frac / np.float32(SQUARE))
        bright &= ~left_out | marked
    return _Look(
        pooled=pool(squares),
        taken=pool(left_out) > 0,
        n_bright=int(np.count_nonzero(bright)),
        n_valid=n_valid,
    )


def _deviation(values: NDArray[np.float32]) -> NDArray[np.float32]:
    return np.asarray(values.std(axis=1), dtype=np.float32)
