"""The mean light around marks, ring by ring: what all fits and sums here work on.

Going round in rings takes out the slope of the background, fills in what a neighbour or the
picture's edge hides, and makes an irregular mark comparable with a round one. Marks are worked
on many at a time, their cells one after the other in long arrays.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.particle.sites import SiteBoxes
from motemap.planes import cell_values

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.particle.cover import Cover
    from motemap.particle.shade import Shades
    from motemap.particle.sites import Sites
    from motemap.records import FlatFrame

CENTRING_WIDTHS = 0.7
"""Radius, in widths of a mark, within which its middle is sought: its core and no neighbour."""
N_CENTRINGS = 4
"""How often, at most, that circle is laid anew round the middle found last."""
SMALLEST_REACH_CELL = 3.0
"""Fewer cells round a mark hold neither its shape nor the level beside it."""
CORE_SEEN = 0.2
"""Share of a mark within its half depth that has to be seen: in a corner it is a quarter. What
lies further out hardly tells how much light is lost inside."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RadialCells:
    """The usable cells around n marks, k in all; a mark without any has nothing to tell.

    Parameters
    ----------
    radius_cell : (k,) float32
        Distance of each cell from its mark's centre [cells].
    loss : (k,) float32
        Share of light lost in each cell.
    mark : (k,) int
        Which mark a cell belongs to, rising.
    n_cells : (n,) int
        Cells of each mark.
    noise_frac : (n,) float64
        Standard deviation of one cell.
    reach_cell : (n,) float64
        Largest distance kept [cells].
    row, col : (n,) float64
        The centres of the marks [cells].
    is_shown : (n,) bool
        Whether enough is seen of the inside of each to tell how much light is lost there.
    """

    radius_cell: NDArray[np.float32]
    loss: NDArray[np.float32]
    mark: NDArray[np.intp]
    n_cells: NDArray[np.intp]
    noise_frac: NDArray[np.float64]
    reach_cell: NDArray[np.float64]
    row: NDArray[np.float64]
    col: NDArray[np.float64]
    is_shown: NDArray[np.bool_]

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


def radial_cells(
    flat: FlatFrame,
    sites: Sites,
    reach_cell: NDArray[np.float64],
    cover: Cover | None = None,
    shades: Shades | None = None,
) -> RadialCells:
    """Cut out the cells within a distance of each mark, those of its neighbours left out.

    Parameters
    ----------
    flat : FlatFrame
        The flattened test shot.
    sites : Sites
        n marks.
    reach_cell : (n,) float64
        Distance up to which cells are kept [cells].
    cover : Cover, optional
        Where others than each of the marks lie; nothing is left out without it.
    shades : Shades, optional
        Shadows that are taken off each other.
    """
    reach = np.maximum(reach_cell, SMALLEST_REACH_CELL)
    boxes = SiteBoxes.around(sites, reach, flat.contrast.shape)
    loss = -boxes.windows.cut(flat.contrast)
    usable = boxes.windows.cells(flat.valid) & boxes.hold()
    if cover is not None:
        usable &= ~cover.hides(boxes.windows)
    if shades is not None:
        loss, is_lost = shades.take_off(loss, boxes)
        usable &= ~is_lost
    # Light that is no number may be marked as usable by a caller; it would spoil every sum.
    if not math.isfinite(float(loss.sum())):
        usable &= np.isfinite(loss)
        loss[~usable] = 0.0
    row, col, is_there = _centres(boxes, np.maximum(loss, 0) * usable, sites)
    down2, across2 = boxes.away2(row, col)
    distance2 = down2 + across2
    farthest2 = np.where(is_there, reach**2, -1.0).astype(np.float32)
    place = np.flatnonzero(usable & (distance2 <= farthest2[:, None, None]))
    n_marks, height, width = loss.shape
    n_cells = np.diff(np.searchsorted(place, np.arange(n_marks + 1) * (height * width)))
    return RadialCells(
        radius_cell=np.sqrt(distance2.ravel()[place]),
        loss=loss.ravel()[place],
        mark=np.repeat(np.arange(n_marks), n_cells),
        n_cells=n_cells,
        noise_frac=cell_values(flat.noise_frac, sites.row, sites.col),
        reach_cell=reach,
        row=row,
        col=col,
        is_shown=_are_shown(boxes, usable, sites) & (n_cells > 0),
    )


def _are_shown(boxes: SiteBoxes, usable: NDArray[np.bool_], sites: Sites) -> NDArray[np.bool_]:
    """Tell of which marks enough of the inside can be used, where they were measured to lie, (n,).

    Centred anew, a mark that is hidden by half has its middle in the other half.
    """
    core2 = np.square(sites.width / 2).astype(np.float32)[:, None, None]
    down2, across2 = boxes.away2(sites.row, sites.col)
    n_seen = np.count_nonzero(usable & (across2 <= core2 - down2), axis=(1, 2))
    shown: NDArray[np.bool_] = n_seen >= CORE_SEEN * math.pi * core2[:, 0, 0]
    return shown


def _centres(
    boxes: SiteBoxes, dark: NDArray[np.float32], sites: Sites
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.bool_]]:
    """Return the middle of the light lost near each site, and whether any is lost there."""
    core2 = np.square(CENTRING_WIDTHS * sites.width).astype(np.float32)[:, None, None]
    n_marks, height, width = dark.shape
    rows, cols = np.indices((height, width), np.float64).reshape(2, -1)
    # What each cell adds to the sums of light, light times row and light times column.
    moments = np.stack([np.ones_like(rows), rows, cols], axis=1)
    middle = np.stack([sites.row, sites.col])
    is_there = np.ones(n_marks, bool)
    moving = np.arange(n_marks)
    for _ in range(N_CENTRINGS):
        some = boxes.only(moving)
        down2, across2 = some.away2(*middle[:, moving])
        near = dark[moving] * (across2 <= core2[moving] - down2)
        total, *sums = (near.reshape(-1, height * width).astype(np.float64) @ moments).T
        is_there[moving] &= total > 0
        found = sums / np.where(total > 0, total, 1.0) + (some.windows.top, some.windows.left)
        is_moved = (found != middle[:, moving]).any(axis=0)
        middle[:, moving] = found
        # One that has come to rest stays there.
        moving = moving[is_moved]
    row, col = middle
    return row, col, is_there


def rings(cells: RadialCells, ring_cell: NDArray[np.float64]) -> Rings:
    """Average the cells round each mark in rings of some width, one a mark [cells]."""
    n_marks = len(ring_cell)
    n_rings = np.maximum(np.ceil(cells.reach_cell / ring_cell), 1).astype(np.intp)
    most = int(n_rings.max(initial=1))
    ring = (cells.radius_cell / ring_cell.astype(np.float32)[cells.mark]).astype(np.intp)
    ring_of_cell = cells.mark * most + np.minimum(ring, n_rings[cells.mark] - 1)
    n_cells = np.bincount(ring_of_cell, minlength=n_marks * most).astype(np.float64)
    total = np.bincount(ring_of_cell, weights=cells.loss, minlength=n_marks * most)
    return Rings(
        loss=(total / np.maximum(n_cells, 1)).reshape(n_marks, most),
        n_cells=n_cells.reshape(n_marks, most),
        ring_of_cell=ring_of_cell,
    )


def ring_means(
    cells: RadialCells, around: Rings, n_points: int, step_cell: float
) -> NDArray[np.float64]:
    """Return the matrices that take a curve at ``(i + 1/2) step`` to means over the rings.

    Returns
    -------
    (n marks, n rings, n points) float64
    """
    place = np.clip(cells.radius_cell * np.float32(1 / step_cell) - 0.5, 0, n_points - 1.001)
    lower = np.floor(place)
    share = place - lower
    flat_index = around.ring_of_cell * n_points + lower.astype(np.intp)
    size = around.loss.size * n_points
    part = (1 / np.maximum(around.n_cells, 1)).astype(np.float32).ravel()[around.ring_of_cell]
    upper = share * part
    means = np.bincount(flat_index, weights=part - upper, minlength=size).astype(np.float64)
    means += np.bincount(flat_index + 1, weights=upper, minlength=size)[:size]
    return means.reshape(*around.loss.shape, n_points)
