"""The mean light around a mark, ring by ring: what all fits and sums here work on.

Going round in rings takes out the slope of the background, fills in what a neighbour or the
picture's edge hides, and makes an irregular mark comparable with a round one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.coords import px_to_cell

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from motemap.records import FlatFrame, MeasuredSpot

HIDING_WIDTHS = 1.0
"""A neighbour hides everything within so many of its widths from its centre."""
CENTRING_WIDTHS = 0.7
N_CENTRINGS = 4
SMALLEST_REACH_CELL = 3.0
N_RINGS = 24


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Crop:
    """The usable cells around a mark.

    Parameters
    ----------
    radius_cell : (n,) float64
        Distance of each cell from the mark's centre [cells].
    loss : (n,) float64
        Share of light lost in each cell.
    noise_frac : float
        Standard deviation of one cell.
    reach_cell : float
        Largest distance kept [cells].
    """

    radius_cell: NDArray[np.float64]
    loss: NDArray[np.float64]
    noise_frac: float
    reach_cell: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rings:
    """Mean loss in rings about a mark.

    Parameters
    ----------
    loss : (n,) float64
        Mean share of light lost in each ring.
    n_cells : (n,) float64
        Usable cells in each ring; 0 where all are hidden.
    ring_of_cell : (k,) int
        Ring of each cell of the crop.
    """

    loss: NDArray[np.float64]
    n_cells: NDArray[np.float64]
    ring_of_cell: NDArray[np.int64]


def cell_place(spot: MeasuredSpot, bin_px: int) -> tuple[float, float]:
    """Return the row and column of a mark in the flattened plane [cells]."""
    return px_to_cell(spot.centre.row_px, bin_px), px_to_cell(spot.centre.col_px, bin_px)


def crop_around(
    flat: FlatFrame,
    spot: MeasuredSpot,
    reach_cell: float,
    neighbours: Sequence[MeasuredSpot] = (),
) -> Crop | None:
    """Cut out the cells within a distance of a mark, those of its neighbours left out.

    Returns
    -------
    Crop or None
        None when nothing usable is left.
    """
    row_cell, col_cell = cell_place(spot, flat.bin_px)
    reach = max(reach_cell, SMALLEST_REACH_CELL)
    rows = _span(row_cell, reach, flat.contrast.shape[0])
    cols = _span(col_cell, reach, flat.contrast.shape[1])
    loss = -flat.contrast[rows, cols].astype(np.float64)
    down = np.arange(rows.start, rows.stop)[:, None]
    right = np.arange(cols.start, cols.stop)[None, :]
    usable = flat.valid[rows, cols].copy()
    for other in neighbours:
        other_row, other_col = cell_place(other, flat.bin_px)
        hidden_cell = HIDING_WIDTHS * max(other.width_px, other.length_px / 2) / flat.bin_px
        usable &= np.hypot(down - other_row, right - other_col) > hidden_cell
    core = CENTRING_WIDTHS * spot.width_px / flat.bin_px
    for _ in range(N_CENTRINGS):
        inside = usable & (np.hypot(down - row_cell, right - col_cell) <= core)
        weights = np.where(inside, np.maximum(loss, 0), 0)
        total = float(weights.sum())
        if total <= 0:
            return None
        row_cell = float((weights * down).sum()) / total
        col_cell = float((weights * right).sum()) / total
    radius = np.hypot(down - row_cell, right - col_cell)
    usable &= radius <= reach
    if not usable.any():
        return None
    return Crop(
        radius_cell=radius[usable],
        loss=loss[usable],
        noise_frac=float(np.median(flat.noise_frac[rows, cols])),
        reach_cell=reach,
    )


def _span(middle_cell: float, reach_cell: float, n_cells: int) -> slice:
    first = max(0, int(middle_cell - reach_cell))
    last = min(n_cells, int(middle_cell + reach_cell) + 2)
    return slice(min(first, n_cells - 1), max(last, 1))


def rings(crop: Crop, ring_cell: float) -> Rings:
    """Average the cells of a crop in rings of some width [cells]."""
    n_rings = max(int(np.ceil(crop.reach_cell / ring_cell)), 1)
    ring_of_cell = np.minimum((crop.radius_cell / ring_cell).astype(np.int64), n_rings - 1)
    n_cells = np.bincount(ring_of_cell, minlength=n_rings).astype(np.float64)
    total = np.bincount(ring_of_cell, weights=crop.loss, minlength=n_rings)
    return Rings(loss=total / np.maximum(n_cells, 1), n_cells=n_cells, ring_of_cell=ring_of_cell)


def ring_means(crop: Crop, around: Rings, n_points: int, step_cell: float) -> NDArray[np.float64]:
    """Return the matrix that takes a curve at ``(i + 1/2) step`` to means over the rings.

    Returns
    -------
    (n rings, n points) float64
    """
    place = np.clip(crop.radius_cell / step_cell - 0.5, 0, n_points - 1.001)
    lower = place.astype(np.int64)
    share = place - lower
    flat_index = around.ring_of_cell * n_points + lower
    size = around.loss.size * n_points
    matrix = np.bincount(flat_index, weights=1 - share, minlength=size)
    matrix += np.bincount(flat_index + 1, weights=share, minlength=size)[:size]
    means: NDArray[np.float64] = (
        matrix.reshape(-1, n_points) / np.maximum(around.n_cells, 1)[:, None]
    )
    return means
