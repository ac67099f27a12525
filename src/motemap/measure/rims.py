"""How sharp the rim of a wide mark is, at the sharpest part of it.

A mark is measured under a smoothing that goes with its thickness, which is right for width and
depth. But of a mark far wider than the blur disc that smoothing is all that its flank then shows: an
edge smoothed by a Gaussian of sigma s looks ``sqrt(2 pi) s`` soft. So the flank of wide marks is
looked at again, under as little smoothing as noise and codes allow.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from motemap.distances import within
from motemap.filters import CELL_VARIANCE, SQUARE, smooth
from motemap.measure.stacked import FLANK
from motemap.planes import enlarge

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from motemap.records import FlatFrame, MeasuredSpot, Regions

    Flags = NDArray[np.bool_]

NOISE_SHARE = 0.5
"""Slopes of noise are then a fifth of that of a flank half as long as the mark is wide (derived: noise
of n a cell leaves slopes of ``n / (5 s^2)`` under a Gaussian of sigma s)."""
CODE_SHARE = 0.5
"""The step from one code to the next is then as steep as that flank at most (derived)."""
LEAST_SIGMA_CELL, MOST_OF_WIDTH = 0.5, 0.12
"""Bounds of the smoothing: less does nothing to cells, and more than this share of the width, the
usual one in `motemap.measure.stacked`, is what is to be undone."""
REACH_OF_WIDTH, LEAST_REACH_CELL = 0.5, 8
"""Room round a mark in which the level beside it is told."""
SKIRT_SIGMAS, LEAST_SKIRT_CELL = 2.0, 3.0
"""A flank is looked for so far beyond the cells of a mark."""
OTHERS_SKIRT_CELL = 4.0
"""So near other marks nothing is looked at."""
CORE_SHARE = 0.95
"""The depth is that of all but the deepest cells, lest a speck in a film be taken for it."""
SHARPEST_SHARE = 0.9
"""Of the slopes of the flank a tenth is steeper than what counts: the rim of a film is sharp here and
soft there, and it runs into hollows within."""
FEWEST_CELLS = 12
"""Fewer cells round a mark, of its core or of its flank tell nothing."""
LONG = 2.0
"""Length over width of marks for which the second of the narrowest widths holds."""
FAINTEST_FRAC = 0.01
"""Of a fainter one the steepest places are those of noise and uneven light."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Crop:
    """Cells of a fine plane round a mark."""

    rows: slice
    cols: slice
    mine: Flags
    free: Flags


def with_sharp_rims(
    flat: FlatFrame,
    regions: Regions,
    spots: Sequence[MeasuredSpot],
    taken: Flags,
    *,
    narrowest_px: tuple[float, float],
    of_cells: int = 1,
) -> tuple[MeasuredSpot, ...]:
    """Measure the flanks of wide marks where they are sharpest.

    Parameters
    ----------
    flat : FlatFrame
        In which flanks are looked at.
    regions : Regions
        The marks; may have been found on a coarser plane.
    spots : sequence of MeasuredSpot
        The same, measured.
    taken : (H / 2, W / 2) bool
        Squares of 2 x 2 cells of `flat` with marks, whose slopes do not count but within the mark
        itself.
    narrowest_px : tuple of float
        Marks not as wide are left as they are, and so are the faintest; the second is for those
        more than twice as long as wide.
    of_cells : int
        Cells of `flat` along the side of one in which the marks were found.

    Returns
    -------
    tuple of MeasuredSpot
        With other flanks, and the smoothing under which these were seen.
    """
    return tuple(
        _with_sharp_rim(flat, _crop(flat, regions, number, spot, taken, of_cells), spot, of_cells)
        if spot.depth_frac >= FAINTEST_FRAC
        and spot.width_px >= narrowest_px[spot.length_px > LONG * spot.width_px]
        else spot
        for number, spot in enumerate(spots)
    )


def _crop(
    flat: FlatFrame,
    regions: Regions,
    number: int,
    spot: MeasuredSpot,
    taken: Flags,
    of_cells: int,
) -> _Crop:
    """Cut out a mark with as much room round it as it is half as wide."""
    height, width = flat.contrast.shape
    reach = max(LEAST_REACH_CELL, math.ceil(REACH_OF_WIDTH * spot.width_px / flat.bin_px))
    (top, left), (bottom, right) = (
        of_cells * ends[number] for ends in (regions.start, regions.stop)
    )
    # The box begins at a whole square.
    first_row, first_col = (max(int(at) - reach, 0) // SQUARE * SQUARE for at in (top, left))
    rows = slice(first_row, min(int(bottom) + reach, height))
    cols = slice(first_col, min(int(right) + reach, width))
    shape = rows.stop - rows.start, cols.stop - cols.start
    own = regions.cells.of_masks(np.array([number]))
    drawn = np.zeros(((regions.stop - regions.start)[number]), np.bool_)
    drawn[own.row - regions.start[number, 0], own.col - regions.start[number, 1]] = True
    mine = np.zeros(shape, np.bool_)
    inside = mine[int(top) - first_row :, int(left) - first_col :]
    whole = enlarge(drawn, of_cells)[: inside.shape[0], : inside.shape[1]]
    inside[: whole.shape[0], : whole.shape[1]] = whole
    squares = taken[
        first_row // SQUARE : -(-rows.stop // SQUARE), first_col // SQUARE : -(-cols.stop // SQUARE)
    ]
    others = enlarge(squares, SQUARE)[: shape[0], : shape[1]] & ~mine
    if of_cells == 1:
        others &= ~within(mine[None], (float(SQUARE),))[0][0]
    if others.any():
        others = within(others[None], (OTHERS_SKIRT_CELL,))[0][0]
    return _Crop(rows=rows, cols=cols, mine=mine, free=flat.valid[rows, cols] & ~others)


def _with_sharp_rim(
    flat: FlatFrame, crop: _Crop, spot: MeasuredSpot, of_cells: int
) -> MeasuredSpot:
    """Look at the flank of one mark again; leave it as it is where nothing of it can be seen."""
    contrast = flat.contrast[crop.rows, crop.cols]
    sigma = _smoothing(flat, crop, spot)
    skirt = max(LEAST_SKIRT_CELL, SKIRT_SIGMAS * sigma)
    reach = max(LEAST_REACH_CELL, REACH_OF_WIDTH * spot.width_px / flat.bin_px)
    near, inner = (part[0] for part in within(crop.mine[None], (skirt, reach / 2)))
    around, core = crop.free & ~inner, crop.mine & crop.free
    if min(np.count_nonzero(around), np.count_nonzero(core)) < FEWEST_CELLS:
        return spot
    depth = float(np.median(contrast[around])) - smooth(contrast, sigma)
    peak = float(np.quantile(depth[core], CORE_SHARE))
    flank = near & crop.free & (depth > FLANK[0] * peak) & (depth < FLANK[1] * peak)
    if peak <= 0 or np.count_nonzero(flank) < FEWEST_CELLS:
        return spot
    slopes = np.hypot(*np.gradient(depth))[flank]
    if of_cells > 1:
        # The finer background follows what is very wide, and takes depth from it, but no slope.
        peak = max(peak, spot.depth_frac)
    edge_cell = peak / float(np.quantile(slopes, SHARPEST_SHARE))
    return replace(
        spot,
        edge_px=min(spot.edge_px, edge_cell * flat.bin_px),
        blur_sigma_px=min(spot.blur_sigma_px, math.sqrt(sigma**2 + CELL_VARIANCE) * flat.bin_px),
    )


def _smoothing(flat: FlatFrame, crop: _Crop, spot: MeasuredSpot) -> float:
    """Return the least smoothing under which slopes are those of the mark [cells]."""
    width = spot.width_px / flat.bin_px
    noise_frac = float(np.median(flat.noise_frac[crop.rows, crop.cols]))
    by_noise = math.sqrt(NOISE_SHARE * width * noise_frac / spot.depth_frac)
    by_codes = 0.0
    if flat.step_frac is not None:
        step_frac = float(np.median(flat.step_frac[crop.rows, crop.cols]))
        by_codes = CODE_SHARE * width * step_frac / spot.depth_frac
    most = max(MOST_OF_WIDTH * width, LEAST_SIGMA_CELL)
    return min(max(by_noise, by_codes, LEAST_SIGMA_CELL), most)
