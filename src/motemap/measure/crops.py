"""Marks cut out of a flattened frame and stacked, so that many are measured at once."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.crops import SIDES
from motemap.distances import distances2, thicknesses_of
from motemap.filters import STACK_CELLS
from motemap.planes import cell_values, cells_at, values_at
from motemap.records import Cells

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from motemap.records import FlatFrame, Region

REACH_OF_WIDTH = 1.0
"""Light is summed out to so many widths beyond a mark's region, to hold its bright rim."""
REACH_MIN_CELLS = 4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Outsets:
    """Regions, and how far around each is looked at.

    Parameters
    ----------
    index : (n,) int
        Places of the regions among all of the frame.
    regions : sequence of Region
    thickness_cell : (n,) float64
        Diameter of the largest disc within each [cells].
    reach_cell : (n,) int
        How far beyond each region's box its surroundings are looked at [cells].
    corners : (n, 2) int
        Row and column at which the boxes so widened begin; negative beyond the picture's edge.
    extents : (n, 2) int
        Their rows and columns.
    """

    index: NDArray[np.intp]
    regions: Sequence[Region]
    thickness_cell: NDArray[np.float64]
    reach_cell: NDArray[np.intp]
    corners: NDArray[np.intp]
    extents: NDArray[np.intp]

    @classmethod
    def of(cls, index: NDArray[np.intp], regions: Sequence[Region]) -> Outsets:
        """Look as far beyond each region as its thickness asks."""
        thickness = thicknesses_of([region.mask for region in regions])
        reach = np.maximum(REACH_MIN_CELLS, np.rint(REACH_OF_WIDTH * thickness)).astype(np.intp)
        corners = np.array([(region.top_cell, region.left_cell) for region in regions], np.intp)
        sides = np.array([region.mask.shape for region in regions], np.intp)
        return cls(
            index=index,
            regions=regions,
            thickness_cell=thickness,
            reach_cell=reach,
            corners=corners.reshape(-1, 2) - reach[:, None],
            extents=sides.reshape(-1, 2) + 2 * reach[:, None],
        )

    def only(self, members: NDArray[np.intp]) -> Outsets:
        """Return some of them."""
        return Outsets(
            index=self.index[members],
            regions=[self.regions[member] for member in members.tolist()],
            thickness_cell=self.thickness_cell[members],
            reach_cell=self.reach_cell[members],
            corners=self.corners[members],
            extents=self.extents[members],
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stack:
    """Surroundings of n marks, each at the upper left of a map of h x w cells.

    Parameters
    ----------
    outsets : Outsets
        The marks.
    contrast : (n, h, w) float32
        Mirrored beyond the edge of the picture; 0 outside each box and where it is no number.
    mine, foreign, free : (n, h, w) bool
        Cells of each mark, of others, and usable ones of nobody.
    in_frame : (n, h, w) bool
        Cells of the picture, and all outside each box.
    noise_frac : (n,) float32
        Standard deviation of one cell at each mark.
    """

    outsets: Outsets
    contrast: NDArray[np.float32]
    mine: NDArray[np.bool_]
    foreign: NDArray[np.bool_]
    free: NDArray[np.bool_]
    in_frame: NDArray[np.bool_]
    noise_frac: NDArray[np.float32]

    @property
    def thickness_cell(self) -> NDArray[np.float32]:
        """Thickness of each mark, (n,) [cells]."""
        return self.outsets.thickness_cell.astype(np.float32)

    @property
    def reach_cell(self) -> NDArray[np.float32]:
        """How far around each mark is looked, (n,) [cells]."""
        return self.outsets.reach_cell.astype(np.float32)

    def distance2(self) -> NDArray[np.float32] | NDArray[np.int16]:
        """Return the squared distance from each mark, exact within its reach, (n, h, w)."""
        return distances2(self.mine, int(self.outsets.reach_cell.max()))


def stacks(
    flat: FlatFrame, regions: Sequence[tuple[int, Region]], owner: NDArray[np.unsignedinteger]
) -> Iterator[Stack]:
    """Yield all marks of a frame, those of like size stacked.

    Parameters
    ----------
    flat : FlatFrame
    regions : sequence of tuple of int and Region
        Each with its index.
    owner : (H, W) unsigned integers
        0 where free, else 1 + index of the region.
    """
    if not regions:
        return
    index = np.array([number for number, _ in regions], np.intp)
    outsets = Outsets.of(index, [region for _, region in regions])
    order = np.searchsorted(SIDES, outsets.extents.max(axis=1))
    for number, side in enumerate(SIDES):
        members = np.flatnonzero(order == number)
        most = STACK_CELLS // side**2
        for first in range(0, len(members), most):
            some = outsets.only(members[first : first + most])
            yield _stack(flat, some, owner, (side, side))
    for one in np.flatnonzero(order == len(SIDES))[:, None]:
        large = outsets.only(one)
        height, width = large.extents[0].tolist()
        yield _stack(flat, large, owner, (height, width))


def _stack(
    flat: FlatFrame, outsets: Outsets, owner: NDArray[np.unsignedinteger], shape: tuple[int, int]
) -> Stack:
    """Cut the surroundings of some marks, which fit into maps of a shape, out of a frame."""
    n_rows, n_cols = owner.shape
    row, row_in_box, row_in_frame = _along(outsets, 0, shape[0], n_rows)
    col, col_in_box, col_in_frame = _along(outsets, 1, shape[1], n_cols)
    in_box = row_in_box[:, :, None] & col_in_box[:, None, :]
    in_frame = row_in_frame[:, :, None] & col_in_frame[:, None, :]
    seen = in_box & in_frame
    row, col = row[:, :, None], col[:, None, :]
    near = cells_at(owner, row, col)
    is_free = near == 0
    stack = Stack(
        outsets=outsets,
        contrast=_contrast(flat, outsets, row, col) * in_box,
        mine=_mine(outsets, shape),
        foreign=~is_free & (near != outsets.index[:, None, None] + 1) & seen,
        free=is_free & cells_at(flat.valid, row, col) & seen,
        in_frame=in_frame | ~in_box,
        noise_frac=_noise_at(flat, outsets),
    )
    # Light that is no number may be marked as usable by a caller; it would spoil every sum.
    if not math.isfinite(float(stack.contrast.sum())):
        broken = ~np.isfinite(stack.contrast)
        stack.free[broken] = False
        stack.contrast[broken] = 0.0
    return stack


def _along(
    outsets: Outsets, axis: int, n_places: int, n_cells: int
) -> tuple[NDArray[np.intp], NDArray[np.bool_], NDArray[np.bool_]]:
    """Return which rows or columns of a picture those of some maps show, mirrored at its edges.

    And which of them are in each mark's box, and in the picture; each (n, places).
    """
    places = np.arange(n_places)
    asked = outsets.corners[:, axis, None] + places
    shown = np.where(asked < 0, -1 - asked, asked)
    shown = np.where(shown >= n_cells, 2 * n_cells - 1 - shown, shown)
    in_frame = (asked >= 0) & (asked < n_cells)
    # What lies beyond the box is not looked at, and may lie anywhere.
    return np.clip(shown, 0, n_cells - 1), places < outsets.extents[:, axis, None], in_frame


def _mine(outsets: Outsets, shape: tuple[int, int]) -> NDArray[np.bool_]:
    """Draw each region in a map of its own, (n, h, w)."""
    corners = [(reach, reach) for reach in outsets.reach_cell.tolist()]
    cells = Cells.of([region.mask for region in outsets.regions], corners)
    mine = np.zeros((len(outsets.regions), *shape), bool)
    mine[cells.mask, cells.row, cells.col] = True
    return mine


def _contrast(
    flat: FlatFrame, outsets: Outsets, row: NDArray[np.intp], col: NDArray[np.intp]
) -> NDArray[np.float32]:
    """Return the contrast round marks, the shadows of others that lie over them taken off.

    At rows and columns of the picture, (n, h, 1) and (n, 1, w).
    """
    contrast = values_at(flat.contrast, row, col)
    for place, region in enumerate(outsets.regions):
        if region.alone is not None:
            down, right = row[place, :, 0] - region.top_cell, col[place, 0] - region.left_cell
            shown = (
                np.flatnonzero((down >= 0) & (down < region.alone.shape[0]))[:, None],
                np.flatnonzero((right >= 0) & (right < region.alone.shape[1])),
            )
            contrast[place][shown] = region.alone[down[shown[0]], right[shown[1]]]
    return contrast


def _noise_at(flat: FlatFrame, outsets: Outsets) -> NDArray[np.float32]:
    """Return the noise at each mark: its median round a large one, else that in the middle.

    It hardly changes over the width of a small one.
    """
    if outsets.extents.max() > SIDES[-1]:
        start = np.maximum(outsets.corners[0], 0)
        stop = np.minimum(outsets.corners[0] + outsets.extents[0], flat.noise_frac.shape)
        around = flat.noise_frac[start[0] : stop[0], start[1] : stop[1]]
        return np.array([np.median(around)], np.float32)
    middles = outsets.corners + outsets.extents / 2
    return cell_values(flat.noise_frac, middles[:, 0], middles[:, 1]).astype(np.float32)
