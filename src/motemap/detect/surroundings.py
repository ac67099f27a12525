"""Is a dip closed on all sides? Dust is; an edge, a contour ring or a slope is not."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage

if TYPE_CHECKING:
    from numpy.typing import NDArray

N_SECTORS = 12
MIN_CELLS_IN_SECTOR = 4
OPEN_OF_PEAK = 0.38
"""A side darker than the ring by this share of the mark's depth is open: the dip goes on there."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Surroundings:
    """What lies round a mark.

    Parameters
    ----------
    level_frac : float
        Median contrast of the ring round the mark.
    open_share : float
        Share of the ring's sectors that stay darker than `OPEN_OF_PEAK` of the mark's depth.
    scatter_frac : float
        Standard deviation of the sectors' means.
    n_sectors : int
        Sectors with enough cells to tell.
    """

    level_frac: float
    open_share: float
    scatter_frac: float
    n_sectors: int


def look_around(
    contrast: NDArray[np.float32],
    mask: NDArray[np.bool_],
    usable: NDArray[np.bool_],
    gap_cells: int,
    ring_cells: int,
    depth_frac: float,
) -> Surroundings:
    """Measure the ring round a mark, sector by sector.

    Parameters
    ----------
    contrast : (h, w) float32
        Crop with room for the ring.
    mask : (h, w) bool
        The mark.
    usable : (h, w) bool
        Cells of no other mark, inside the frame.
    gap_cells, ring_cells : int
        Distance from mark to ring, and the ring's width [cells].
    depth_frac : float
        Depth of the mark.
    """
    distance = ndimage.distance_transform_edt(~mask)
    ring = usable & (distance > gap_cells) & (distance <= gap_cells + ring_cells)
    if not ring.any():
        return Surroundings(level_frac=0.0, open_share=1.0, scatter_frac=1.0, n_sectors=0)
    rows, cols = np.nonzero(ring)
    mark_rows, mark_cols = np.nonzero(mask)
    angle = np.arctan2(rows - mark_rows.mean(), cols - mark_cols.mean())
    sector = np.floor((angle + np.pi) * (N_SECTORS / (2 * np.pi))).astype(int) % N_SECTORS
    values = contrast[rows, cols]
    n_cells = np.bincount(sector, minlength=N_SECTORS)
    known = n_cells >= MIN_CELLS_IN_SECTOR
    total = np.bincount(sector, weights=values, minlength=N_SECTORS)
    means = total[known] / n_cells[known]
    if means.size == 0:
        return Surroundings(level_frac=0.0, open_share=1.0, scatter_frac=1.0, n_sectors=0)
    level = float(np.median(values))
    dark = means < level - OPEN_OF_PEAK * (depth_frac + level)
    return Surroundings(
        level_frac=level,
        open_share=float(dark.mean()),
        scatter_frac=float(means.std()),
        n_sectors=int(known.sum()),
    )
