"""The mean light around marks, ring by ring: what all fits and sums here work on.

Going round in rings takes out the slope of the background, fills in what a neighbour or the
picture's edge hides, and makes an irregular mark comparable with a round one. Marks are worked
on many at a time, their cells one after the other in long arrays.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.coords import px_to_cell
from motemap.planes import cell_values

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from motemap.planes import Window
    from motemap.records import FlatFrame, MeasuredSpot

HIDING_WIDTHS = 1.0
"""A neighbour hides everything within so many of its widths from its centre."""
CENTRING_WIDTHS = 0.7
N_CENTRINGS = 4
SMALLEST_REACH_CELL = 3.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Crops:
    """The usable cells around n marks, k in all; a mark without any has nothing to tell.

    Parameters
    ----------
    radius_cell : (k,) float64
        Distance of each cell from its mark's centre [cells].
    loss : (k,) float64
        Share of light lost in each cell.
    mark : (k,) int
        Which mark a cell belongs to, rising.
    n_cells : (n,) int
        Cells of each mark.
    noise_frac : (n,) float64
        Standard deviation of one cell.
    reach_cell : (n,) float64
        Largest distance kept [cells].
    """

    radius_cell: NDArray[np.float64]
    loss: NDArray[np.float64]
    mark: NDArray[np.intp]
    n_cells: NDArray[np.intp]
    noise_frac: NDArray[np.float64]
    reach_cell: NDArray[np.float64]

    def cells_of(self, mark: int) -> slice:
        """Return where the cells of one mark are."""
        first = int(self.n_cells[:mark].sum())
        return slice(first, first + int(self.n_cells[mark]))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rings:
    """Mean loss in rings about n marks.

    Parameters
    ----------
    loss : (n, m) float64
        Mean share of light lost in each ring.
    n_cells : (n, m) float64
        Usable cells in each ring; 0 where all are hidden.
    ring_of_cell : (k,) int
        Ring of each cell, counted on from one mark to the next.
    """

    loss: NDArray[np.float64]
    n_cells: NDArray[np.float64]
    ring_of_cell: NDArray[np.intp]


def cell_place(spot: MeasuredSpot, bin_px: int) -> tuple[float, float]:
    """Return the row and column of a mark in the flattened plane [cells]."""
    return px_to_cell(spot.centre.row_px, bin_px), px_to_cell(spot.centre.col_px, bin_px)


def crops_around(
    flat: FlatFrame,
    spots: Sequence[MeasuredSpot],
    reach_cell: NDArray[np.float64],
    neighbours: Sequence[Sequence[MeasuredSpot]] | None = None,
) -> Crops:
    """Cut out the cells within a distance of each mark, those of its neighbours left out.

    Parameters
    ----------
    flat : FlatFrame
        The flattened test shot.
    spots : sequence of MeasuredSpot
        n marks.
    reach_cell : (n,) float64
        Distance up to which cells are kept [cells].
    neighbours : sequence of sequence of MeasuredSpot, optional
        For each mark the others whose cells to leave out.
    """
    places = np.array([cell_place(spot, flat.bin_px) for spot in spots]).reshape(-1, 2)
    reach = np.maximum(reach_cell, SMALLEST_REACH_CELL)
    n_rows, n_cols = flat.contrast.shape
    boxes = [
        (_span(row, far, n_rows), _span(col, far, n_cols))
        for (row, col), far in zip(places.tolist(), reach.tolist(), strict=True)
    ]
    usable = [flat.valid[box].copy() for box in boxes]
    for free, box, near in zip(usable, boxes, neighbours or (), strict=False):
        for other in near:
            _hide(free, box, other, flat.bin_px)
    windows = [flat.contrast[box] for box in boxes]
    core = np.array([CENTRING_WIDTHS * spot.width_px / flat.bin_px for spot in spots])
    noise = cell_values(flat.noise_frac, places[:, 0], places[:, 1])
    return _crops(_cells(windows, usable, boxes), places, core, reach, noise)


def _span(middle_cell: float, reach_cell: float, n_cells: int) -> slice:
    first = max(0, int(middle_cell - reach_cell))
    last = min(n_cells, int(middle_cell + reach_cell) + 2)
    return slice(min(first, n_cells - 1), max(last, 1))


def _hide(free: NDArray[np.bool_], box: Window, other: MeasuredSpot, bin_px: int) -> None:
    """Mark the cells of a window that a neighbour hides as not to be used."""
    row, col = cell_place(other, bin_px)
    hidden = HIDING_WIDTHS * max(other.width_px, other.length_px / 2) / bin_px
    top = max(int(row - hidden) - box[0].start, 0)
    left = max(int(col - hidden) - box[1].start, 0)
    bottom = min(int(row + hidden) + 2, box[0].stop) - box[0].start
    right = min(int(col + hidden) + 2, box[1].stop) - box[1].start
    if top >= bottom or left >= right:
        return
    down = np.arange(top, bottom) + (box[0].start - row)
    across = np.arange(left, right) + (box[1].start - col)
    free[top:bottom, left:right] &= (down**2)[:, None] + across**2 > hidden**2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Cells:
    """Usable cells of many windows: what each loses, where it lies, whose it is."""

    loss: NDArray[np.float64]
    row: NDArray[np.float64]
    col: NDArray[np.float64]
    mark: NDArray[np.intp]

    def only(self, keep: NDArray[np.bool_]) -> _Cells:
        return _Cells(
            loss=self.loss[keep], row=self.row[keep], col=self.col[keep], mark=self.mark[keep]
        )


def _cells(
    windows: Sequence[NDArray[np.float32]],
    usable: Sequence[NDArray[np.bool_]],
    boxes: Sequence[Window],
) -> _Cells:
    """Lay the usable cells of all windows one after the other."""
    if not windows:
        none = np.zeros(0)
        return _Cells(loss=none, row=none, col=none, mark=np.zeros(0, np.intp))
    n_cells = np.array([window.size for window in windows])
    width = np.array([window.shape[1] for window in windows])
    first = np.cumsum(n_cells) - n_cells
    values = np.concatenate([window.ravel() for window in windows])
    free = np.concatenate([window.ravel() for window in usable])
    # Light that is no number can be marked as usable by a caller; it would spoil every sum.
    keep = np.flatnonzero(free & np.isfinite(values))
    mark = np.repeat(np.arange(len(windows)), n_cells)[keep]
    down, right = np.divmod(keep - first[mark], width[mark])
    top = np.array([box[0].start for box in boxes])
    left = np.array([box[1].start for box in boxes])
    return _Cells(
        loss=-values[keep].astype(np.float64),
        row=(down + top[mark]).astype(np.float64),
        col=(right + left[mark]).astype(np.float64),
        mark=mark,
    )


def _crops(
    cells: _Cells,
    places: NDArray[np.float64],
    core: NDArray[np.float64],
    reach: NDArray[np.float64],
    noise_frac: NDArray[np.float64],
) -> Crops:
    """Find each mark's centre again and keep what lies within reach of it."""
    centre, is_there = _centres(cells.only(cells.loss > 0), places, core)
    mark = cells.mark
    radius = np.hypot(cells.row - centre[mark, 0], cells.col - centre[mark, 1])
    keep = (radius <= reach[mark]) & is_there[mark]
    return Crops(
        radius_cell=radius[keep],
        loss=cells.loss[keep],
        mark=mark[keep],
        n_cells=np.bincount(mark[keep], minlength=len(reach)).astype(np.intp),
        noise_frac=noise_frac,
        reach_cell=reach,
    )


def _centres(
    dark: _Cells, places: NDArray[np.float64], core: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Return the middle of the light lost near each place, and whether any is lost there."""
    n_marks = len(core)
    row, col = places[:, 0].copy(), places[:, 1].copy()
    is_there = np.ones(n_marks, bool)
    core2 = core**2
    for _ in range(N_CENTRINGS):
        apart2 = (dark.row - row[dark.mark]) ** 2 + (dark.col - col[dark.mark]) ** 2
        inside = np.flatnonzero(apart2 <= core2[dark.mark])
        mark, weight = dark.mark[inside], dark.loss[inside]
        total = np.bincount(mark, weight, n_marks)
        is_there &= total > 0
        divisor = np.where(total > 0, total, 1.0)
        row = np.where(is_there, np.bincount(mark, weight * dark.row[inside], n_marks), 0) / divisor
        col = np.where(is_there, np.bincount(mark, weight * dark.col[inside], n_marks), 0) / divisor
    return np.stack([row, col], axis=1), is_there


def rings(crops: Crops, ring_cell: NDArray[np.float64]) -> Rings:
    """Average the cells of each crop in rings of some width, one a mark [cells]."""
    n_marks = len(ring_cell)
    n_rings = np.maximum(np.ceil(crops.reach_cell / ring_cell), 1).astype(np.intp)
    most = int(n_rings.max(initial=1))
    ring = (crops.radius_cell / ring_cell[crops.mark]).astype(np.intp)
    ring_of_cell = crops.mark * most + np.minimum(ring, n_rings[crops.mark] - 1)
    n_cells = np.bincount(ring_of_cell, minlength=n_marks * most).astype(np.float64)
    total = np.bincount(ring_of_cell, weights=crops.loss, minlength=n_marks * most)
    return Rings(
        loss=(total / np.maximum(n_cells, 1)).reshape(n_marks, most),
        n_cells=n_cells.reshape(n_marks, most),
        ring_of_cell=ring_of_cell,
    )


def ring_means(crops: Crops, around: Rings, n_points: int, step_cell: float) -> NDArray[np.float64]:
    """Return the matrices that take a curve at ``(i + 1/2) step`` to means over the rings.

    Returns
    -------
    (n marks, n rings, n points) float64
    """
    place = np.clip(crops.radius_cell / step_cell - 0.5, 0, n_points - 1.001)
    lower = place.astype(np.intp)
    share = place - lower
    flat_index = around.ring_of_cell * n_points + lower
    size = around.loss.size * n_points
    means = np.bincount(flat_index, weights=1 - share, minlength=size).astype(np.float64)
    means += np.bincount(flat_index + 1, weights=share, minlength=size)[:size]
    means = means.reshape(*around.loss.shape, n_points)
    means /= np.maximum(around.n_cells, 1)[:, :, None]
    return means
