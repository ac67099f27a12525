"""Measure a mark: where, how deep, how wide, how much light it takes."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage

from motemap.coords import FramePoint, cell_to_px
from motemap.filters import CELL_VARIANCE, FWHM_PER_SIGMA, smooth
from motemap.measure.outline import trace_outline
from motemap.records import MeasuredSpot

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.records import FlatFrame, Region

__all__ = ["measure", "owners"]

REACH_OF_WIDTH = 1.0
"""Light is summed out to so many widths beyond a mark's region, to hold its bright rim."""
REACH_MIN_CELLS = 4
CENTRE_OF_PEAK = 0.3
HALF = 0.5
CORE_OF_WIDTH = 0.1
BELL_SHARE = 1.0
LOST_MOST = 0.5
FEWEST_IN_RING = 8
BRIGHT_SIGMAS = 3.0
"""Light above the surround counts as gathered from so many sigmas on."""
OUTLINE_REACH = 1.5
"""Cells that an outline may stray beyond the region: further out lies somebody else's dip."""
CLEAR_SIGMAS = 8.0
"""Depth over noise at which an outline is no longer ragged."""
FLANK = (0.3, 0.7)
"""Share of the peak between which the slope of a flank is taken."""


def owners(flat: FlatFrame, regions: tuple[Region, ...]) -> NDArray[np.int32]:
    """Draw all regions on the plane's grid: 0 free, else 1 + index of the region.

    Returns
    -------
    (H, W) int32
    """
    owner = np.zeros(flat.contrast.shape, np.int32)
    for index, region in enumerate(regions):
        rows, cols = np.nonzero(region.mask)
        owner[rows + region.top_cell, cols + region.left_cell] = index + 1
    return owner


def measure(flat: FlatFrame, region: Region, owner: NDArray[np.int32], index: int) -> MeasuredSpot:
    """Measure one region.

    Parameters
    ----------
    flat : FlatFrame
    region : Region
    owner : (H, W) int32
        From `owners`.
    index : int
        Index of the region in `owner`, from 0.
    """
    thickness = 2 * float(ndimage.distance_transform_edt(np.pad(region.mask, 1)).max())
    reach = max(REACH_MIN_CELLS, round(REACH_OF_WIDTH * thickness))
    rows, cols = _box_round(region, reach, flat.contrast.shape)
    contrast = flat.contrast[rows, cols]
    mine = owner[rows, cols] == index + 1
    foreign = (owner[rows, cols] > 0) & ~mine
    free = ~mine & ~foreign & flat.valid[rows, cols]
    distance = ndimage.distance_transform_edt(~mine)
    ring = free & (distance > reach / 2)
    level, calm_frac = _ring_level(contrast[ring])
    depth = level - contrast
    noise = float(np.median(flat.noise_frac[rows, cols]))

    sigma = _smoothing(depth, mine, thickness, noise)
    soft = smooth(depth.astype(np.float32), sigma)
    peak = float(soft[mine].max())
    outline = trace_outline(soft, (mine | free) & (distance < OUTLINE_REACH), HALF * peak)
    width_cell = _sharpen(outline.width_cell, sigma)
    row, col = _centre(soft, mine, peak)
    near = (mine | free) & (distance <= reach)
    depth_frac = min(1.0, _core_depth(soft, mine, width_cell, sigma))
    power = float((depth[mine] ** 2).sum()) - float(mine.sum()) * noise**2
    return MeasuredSpot(
        centre=_place(rows.start + row, cols.start + col, flat.bin_px),
        depth_frac=depth_frac,
        snr=max(region.snr, math.sqrt(max(power, 0.0)) / max(noise, 1e-9)),
        width_px=width_cell * flat.bin_px,
        length_px=max(width_cell, outline.length_cell - (outline.width_cell - width_cell))
        * flat.bin_px,
        lost_area_px2=float(depth[near].sum()) * flat.bin_px**2,
        gain_ratio=_gain_ratio(soft[near], noise / max(1.0, 2 * math.sqrt(math.pi) * sigma)),
        hollow_frac=_hollow(soft, row, col, peak),
        straightness=outline.straightness,
        hole_frac=outline.hole_frac,
        edge_px=_edge(soft, mine | free, peak) * flat.bin_px,
        seen_depth_frac=peak,
        calm_frac=calm_frac,
        significance=region.snr,
        is_at_border=_touches_border(rows, cols, mine, flat.contrast.shape),
        has_neighbour=bool((foreign & (distance <= reach)).any()),
    )


def _box_round(region: Region, reach: int, shape: tuple[int, ...]) -> tuple[slice, slice]:
    """Return rows and columns of a region and what lies within reach of it."""
    height, width = region.mask.shape
    return (
        slice(max(0, region.top_cell - reach), min(shape[0], region.top_cell + height + reach)),
        slice(max(0, region.left_cell - reach), min(shape[1], region.left_cell + width + reach)),
    )


def _place(row_cell: float, col_cell: float, bin_px: int) -> FramePoint:
    """Return where a place on the grid of cells lies in the stored picture."""
    return FramePoint(row_px=cell_to_px(row_cell, bin_px), col_px=cell_to_px(col_cell, bin_px))


def _gain_ratio(soft: NDArray[np.float32], noise_frac: float) -> float:
    """Return the light that a mark gathers over the light it takes, noise left out of the first."""
    bright = np.clip(-soft - BRIGHT_SIGMAS * noise_frac, 0, None).sum()
    return float(bright) / max(float(np.clip(soft, 0, None).sum()), 1e-9)


def _ring_level(values: NDArray[np.float32]) -> tuple[float, float]:
    """Return the median round a mark, and the upper quartile of the deviation from it."""
    if values.size < FEWEST_IN_RING:
        return 0.0, 0.0
    level = float(np.median(values))
    return level, float(np.percentile(np.abs(values - level), 75))


def _smoothing(
    depth: NDArray[np.float32], mine: NDArray[np.bool_], thickness: float, noise: float
) -> float:
    """Choose the blur under which a mark is looked at: a little, or as much as its noise asks.

    A Gaussian of sigma s leaves noise / (2 sqrt(pi) s) of the noise of a cell.
    """
    core = float(np.percentile(depth[mine], 75))
    asked = CLEAR_SIGMAS * noise / (2 * math.sqrt(math.pi) * max(core, 1e-6))
    return max(0.5, min(max(0.12 * thickness, asked), 0.3 * thickness))


def _centre(soft: NDArray[np.float32], mine: NDArray[np.bool_], peak: float) -> tuple[float, float]:
    """Return row and column of the middle of a mark's deeper part; of all of it without depth."""
    weight = np.where(mine, np.clip(soft - CENTRE_OF_PEAK * peak, 0, None), 0)
    if peak <= 0:
        weight = mine.astype(np.float32)
    total = float(weight.sum())
    rows, cols = np.indices(soft.shape)
    return float((weight * rows).sum()) / total, float((weight * cols).sum()) / total


def _sharpen(width: float, sigma: float) -> float:
    """Take the smoothing, and a cell's own width, back out of a width [cells]."""
    blur2 = FWHM_PER_SIGMA**2 * (sigma**2 + CELL_VARIANCE)
    return math.sqrt(max(width**2 - blur2, (0.5 * width) ** 2))


def _core_depth(
    soft: NDArray[np.float32], mine: NDArray[np.bool_], width: float, sigma: float
) -> float:
    """Depth of the core, given back what smoothing and cells took from a bell-shaped mark.

    A shadow's profile lies between a bell and a disc with soft edges, hence `BELL_SHARE`.
    """
    core_sigma = CORE_OF_WIDTH * width
    core = np.where(mine, smooth(soft, core_sigma), -np.inf)
    bell2 = (width / FWHM_PER_SIGMA) ** 2
    lost = (sigma**2 + core_sigma**2 + CELL_VARIANCE) / bell2
    return float(core.max()) * (1 + BELL_SHARE * min(lost, LOST_MOST))


def _edge(soft: NDArray[np.float32], near: NDArray[np.bool_], peak: float) -> float:
    """Return the depth over the steepest slope of the mark's flank [cells].

    The slope is the upper quartile along the half-depth line, so that one noisy cell does not
    decide.
    """
    slope = np.hypot(*np.gradient(soft))
    flank = near & (soft > FLANK[0] * peak) & (soft < FLANK[1] * peak)
    if not flank.any():
        return 1.0
    return peak / max(float(np.percentile(slope[flank], 75)), 1e-9)


def _hollow(soft: NDArray[np.float32], row: float, col: float, peak: float) -> float:
    """Return the depth at a mark's centre over its deepest: 1 is solid, 0 a ring."""
    if peak <= 0:
        return 1.0
    centre_row = min(max(round(row), 0), soft.shape[0] - 1)
    centre_col = min(max(round(col), 0), soft.shape[1] - 1)
    return float(soft[centre_row, centre_col]) / peak


def _touches_border(
    rows: slice, cols: slice, mine: NDArray[np.bool_], shape: tuple[int, ...]
) -> bool:
    down = np.nonzero(mine.any(axis=1))[0] + rows.start
    across = np.nonzero(mine.any(axis=0))[0] + cols.start
    return bool(
        down[0] == 0 or across[0] == 0 or down[-1] == shape[0] - 1 or across[-1] == shape[1] - 1
    )
