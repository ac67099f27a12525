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
from motemap.planes import cell_values, cells_at, values_at

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from motemap.records import FlatFrame, MeasuredSpot

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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Discs:
    """Round patches of a plane, each to be left out of one of many crops.

    Parameters
    ----------
    mark : (p,) int
        Which of the crops.
    row, col, radius : (p,) float64
        Centre and radius [cells].
    """

    mark: NDArray[np.intp]
    row: NDArray[np.float64]
    col: NDArray[np.float64]
    radius: NDArray[np.float64]

    @classmethod
    def none(cls) -> Discs:
        """Leave out nothing."""
        nothing = np.zeros(0)
        return cls(mark=np.zeros(0, np.intp), row=nothing, col=nothing, radius=nothing)

    def of_marks(self, chosen: NDArray[np.intp]) -> Discs:
        """Return those of some crops, which then are counted from 0; `mark` has to rise."""
        first = np.searchsorted(self.mark, chosen)
        n_discs = np.searchsorted(self.mark, chosen, side="right") - first
        mark = np.repeat(np.arange(len(chosen)), n_discs)
        place = np.arange(len(mark)) + (first - np.cumsum(n_discs) + n_discs)[mark]
        return Discs(mark=mark, row=self.row[place], col=self.col[place], radius=self.radius[place])


def crops_around(
    flat: FlatFrame,
    spots: Sequence[MeasuredSpot],
    reach_cell: NDArray[np.float64],
    hidden: Discs | None = None,
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
    hidden : Discs, optional
        What of each mark's surroundings to leave out.
    """
    places = np.array([cell_place(spot, flat.bin_px) for spot in spots]).reshape(-1, 2)
    reach = np.maximum(reach_cell, SMALLEST_REACH_CELL)
    boxes = _Boxes.around(places, reach, flat.contrast.shape)
    core = np.array([CENTRING_WIDTHS * spot.width_px / flat.bin_px for spot in spots])
    noise = cell_values(flat.noise_frac, places[:, 0], places[:, 1])
    return _crops(_cells(flat, boxes, hidden or Discs.none()), places, core, reach, noise)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Boxes:
    """Boxes of a plane, (n, 2): rows and columns at which they start and before which they end."""

    start: NDArray[np.intp]
    stop: NDArray[np.intp]

    @classmethod
    def around(
        cls, places: NDArray[np.float64], reach: NDArray[np.float64], shape: tuple[int, ...]
    ) -> _Boxes:
        """Return the boxes that hold all cells within reach of some places of a plane."""
        last = np.array(shape) - 1
        start = np.clip((places - reach[:, None]).astype(np.intp), 0, last)
        stop = np.clip((places + reach[:, None]).astype(np.intp) + 2, 1, last + 1)
        return cls(start=start, stop=stop)

    @property
    def sides(self) -> NDArray[np.intp]:
        """Rows and columns of each, (n, 2); none where it would end before it starts."""
        sides: NDArray[np.intp] = np.maximum(self.stop - self.start, 0)
        return sides

    def cells(self) -> tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.intp]]:
        """Return of all cells, box by box, which box they are in, and row and column."""
        height, width = self.sides.T
        box = np.repeat(np.arange(len(width)), height)
        row = np.arange(len(box)) + (self.start[:, 0] + height - np.cumsum(height))[box]
        # Laid out line by line: cells need not be divided into rows and columns one by one.
        n_cells = width[box]
        left = self.start[box, 1] + n_cells - np.cumsum(n_cells)
        box, row, left = (np.repeat(each, n_cells) for each in (box, row, left))
        return box, row, np.arange(len(box)) + left


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Cells:
    """Usable cells of many boxes, box by box: what each loses, where it lies, whose it is."""

    loss: NDArray[np.float64]
    row: NDArray[np.float64]
    col: NDArray[np.float64]
    mark: NDArray[np.intp]

    def only(self, keep: NDArray[np.bool_]) -> _Cells:
        chosen = np.flatnonzero(keep)
        return _Cells(
            loss=self.loss[chosen],
            row=self.row[chosen],
            col=self.col[chosen],
            mark=self.mark[chosen],
        )


def _cells(flat: FlatFrame, boxes: _Boxes, hidden: Discs) -> _Cells:
    """Lay the usable cells of all boxes one after the other."""
    mark, row, col = boxes.cells()
    values = values_at(flat.contrast, row, col)
    # Light that is no number can be marked as usable by a caller; it would spoil every sum.
    free = cells_at(flat.valid, row, col) & np.isfinite(values)
    free[_hidden(boxes, hidden)] = False
    keep = np.flatnonzero(free)
    return _Cells(
        loss=-values[keep].astype(np.float64),
        row=row[keep].astype(np.float64),
        col=col[keep].astype(np.float64),
        mark=mark[keep],
    )


def _hidden(boxes: _Boxes, hidden: Discs) -> NDArray[np.intp]:
    """Return which of the boxes' cells, counted box by box, lie in a disc to leave out of it."""
    middle = np.stack([hidden.row, hidden.col], axis=1)
    start, stop = boxes.start[hidden.mark], boxes.stop[hidden.mark]
    patches = _Boxes(
        start=np.maximum((middle - hidden.radius[:, None]).astype(np.intp), start),
        stop=np.minimum((middle + hidden.radius[:, None]).astype(np.intp) + 2, stop),
    )
    disc, row, col = patches.cells()
    within = (row - hidden.row[disc]) ** 2 + (col - hidden.col[disc]) ** 2
    inside = np.flatnonzero(within <= (hidden.radius**2)[disc])
    disc, row, col = disc[inside], row[inside], col[inside]
    height, width = boxes.sides.T
    # Where the row 0 and column 0 of the plane would be among the cells of each disc's box.
    width_of_box = width[hidden.mark]
    origin = (np.cumsum(height * width) - height * width)[hidden.mark]
    origin -= start[:, 0] * width_of_box + start[:, 1]
    place: NDArray[np.intp] = origin[disc] + row * width_of_box[disc] + col
    return place


def _crops(
    cells: _Cells,
    places: NDArray[np.float64],
    core: NDArray[np.float64],
    reach: NDArray[np.float64],
    noise_frac: NDArray[np.float64],
) -> Crops:
    """Find each mark's centre again and keep what lies within reach of it."""
    centre, is_there = _centres(cells.only(cells.loss > 0), places, core)
    n_cells = np.bincount(cells.mark, minlength=len(reach))
    row, col = (np.repeat(along, n_cells) for along in centre.T)
    radius = np.sqrt((cells.row - row) ** 2 + (cells.col - col) ** 2)
    keep = np.flatnonzero(radius <= np.repeat(np.where(is_there, reach, -1.0), n_cells))
    mark = cells.mark[keep]
    return Crops(
        radius_cell=radius[keep],
        loss=cells.loss[keep],
        mark=mark,
        n_cells=np.bincount(mark, minlength=len(reach)).astype(np.intp),
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
    n_cells = np.bincount(dark.mark, minlength=n_marks)
    core2 = np.repeat(core**2, n_cells)
    for _ in range(N_CENTRINGS):
        down, right = dark.row - np.repeat(row, n_cells), dark.col - np.repeat(col, n_cells)
        inside = np.flatnonzero(down**2 + right**2 <= core2)
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
