"""Marks cut out of a flattened frame and stacked, so that many are measured at once."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from motemap.crops import SIDES, Crops
from motemap.planes import cell_values, cells_at, values_at

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from motemap.records import FlatFrame, Regions, Windows

REACH_OF_WIDTH = 1.0
"""Light is summed out to so many widths beyond a mark's region, to hold its bright rim ..."""
REACH_MIN_CELLS = 4
"""... and so many cells at least, to see anything of the level round a narrow one."""
MAPS_CELLS = 1 << 17
"""Cells of a stack of maps at most: so much is asked of each that fewer and larger ones pay."""

Value = TypeVar("Value", bound=np.generic)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Outsets:
    """Regions, and how far around each is looked at.

    Parameters
    ----------
    index : (n,) int
        Places of the regions among all of the frame.
    regions : Regions
    reach_cell : (n,) int
        How far beyond each region's box its surroundings are looked at [cells].
    corners : (n, 2) int
        Row and column at which the boxes so widened begin; negative beyond the picture's edge.
    extents : (n, 2) int
        Their rows and columns.
    """

    index: NDArray[np.intp]
    regions: Regions
    reach_cell: NDArray[np.intp]
    corners: NDArray[np.intp]
    extents: NDArray[np.intp]

    @classmethod
    def of(cls, index: NDArray[np.intp], regions: Regions) -> Outsets:
        """Look as far beyond each region as its thickness asks."""
        widest = np.rint(REACH_OF_WIDTH * regions.thickness_cell)
        reach = np.maximum(REACH_MIN_CELLS, widest).astype(np.intp)
        return cls(
            index=index,
            regions=regions,
            reach_cell=reach,
            corners=regions.start - reach[:, None],
            extents=regions.stop - regions.start + 2 * reach[:, None],
        )

    def only(self, members: NDArray[np.intp]) -> Outsets:
        """Return some of them."""
        return Outsets(
            index=self.index[members],
            regions=self.regions.chosen(members),
            reach_cell=self.reach_cell[members],
            corners=self.corners[members],
            extents=self.extents[members],
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MarkMaps:
    """Surroundings of n marks, in maps of h x w cells; all regions begin at the same cell.

    Parameters
    ----------
    outsets : Outsets
        The marks.
    margin_cell : int
        Rows and columns before the regions, and at least so many behind them.
    in_rows, in_cols : (n, h) and (n, w) bool
        Rows and columns of the maps that are in each mark's box.
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
    margin_cell: int
    in_rows: NDArray[np.bool_]
    in_cols: NDArray[np.bool_]
    contrast: NDArray[np.float32]
    mine: NDArray[np.bool_]
    foreign: NDArray[np.bool_]
    free: NDArray[np.bool_]
    in_frame: NDArray[np.bool_]
    noise_frac: NDArray[np.float32]

    @property
    def thickness_cell(self) -> NDArray[np.float32]:
        """Thickness of each mark, (n,) [cells]."""
        return self.outsets.regions.thickness_cell.astype(np.float32)

    @property
    def reach_cell(self) -> NDArray[np.float32]:
        """How far around each mark is looked, (n,) [cells]."""
        return self.outsets.reach_cell.astype(np.float32)

    @property
    def corners(self) -> NDArray[np.intp]:
        """Row and column of the picture at which each map begins, (n, 2)."""
        return self.outsets.corners + self.outsets.reach_cell[:, None] - self.margin_cell

    def inner(self, margin_cell: int) -> tuple[slice, slice, slice]:
        """Return which part of the maps holds all regions and some cells round them."""
        cut = self.margin_cell - min(margin_cell, self.margin_cell)
        n_rows, n_cols = self.contrast.shape[1:]
        return slice(None), slice(cut, n_rows - cut), slice(cut, n_cols - cut)


def alike(outsets: Outsets, shape: tuple[int, ...]) -> Iterator[Outsets]:
    """Yield all marks of a frame of some rows and columns, those of like size together."""
    size = np.searchsorted(SIDES, outsets.extents.max(axis=1))
    side = np.append(SIDES, max(shape))[size][:, None]
    is_inside = ((outsets.corners >= 0) & (outsets.corners + side <= shape)).all(axis=1)
    # What lies apart from the picture's edge is cut out faster, and row by row faster still.
    order = np.lexsort((outsets.corners[:, 0], outsets.reach_cell, ~is_inside))
    for number, length in enumerate(SIDES):
        members = order[size[order] == number]
        most = MAPS_CELLS // length**2
        for first in range(0, len(members), most):
            yield outsets.only(members[first : first + most])
    for one in order[size[order] == len(SIDES)][:, None]:
        yield outsets.only(one)


def cut_maps(flat: FlatFrame, outsets: Outsets, owner: NDArray[np.unsignedinteger]) -> MarkMaps:
    """Cut the surroundings of some marks out of a frame.

    Parameters
    ----------
    flat : FlatFrame
    outsets : Outsets
        Of like size.
    owner : (H, W) unsigned integers
        0 where free, else 1 + index of the region.
    """
    margin = int(outsets.reach_cell.max())
    row, in_rows, row_in_frame = _along(outsets, 0, margin, owner.shape[0])
    col, in_cols, col_in_frame = _along(outsets, 1, margin, owner.shape[1])
    in_box = in_rows[:, :, None] & in_cols[:, None, :]
    in_frame = row_in_frame[:, :, None] & col_in_frame[:, None, :]
    seen = in_box & in_frame
    at = _Places(row=row[:, :, None], col=col[:, None, :], is_whole=bool(in_frame.all()))
    near = at.cells(owner)
    is_free = near == 0
    own = (outsets.index + 1).astype(owner.dtype)[:, None, None]
    maps = MarkMaps(
        outsets=outsets,
        margin_cell=margin,
        in_rows=in_rows,
        in_cols=in_cols,
        contrast=_contrast(flat, outsets, at) * in_box,
        mine=_mine(outsets, margin, seen.shape),
        foreign=~is_free & (near != own) & seen,
        free=is_free & at.cells(flat.valid) & seen,
        in_frame=in_frame | ~in_box,
        noise_frac=_noise_at(flat, outsets),
    )
    # Light that is no number may be marked as usable by a caller; it would spoil every sum.
    if not math.isfinite(float(maps.contrast.sum())):
        broken = ~np.isfinite(maps.contrast)
        maps.free[broken] = False
        maps.contrast[broken] = 0.0
    return maps


def _along(
    outsets: Outsets, axis: int, margin_cell: int, n_cells: int
) -> tuple[NDArray[np.intp], NDArray[np.bool_], NDArray[np.bool_]]:
    """Return which rows or columns of a picture some maps show, mirrored at its edges.

    And which of them are in each mark's box, and in the picture; each (n, places).
    """
    # How far before the boxes the maps begin, all regions at the same place.
    before = margin_cell - outsets.reach_cell[:, None]
    extent = outsets.extents[:, axis, None]
    places = np.arange(int((extent + 2 * before).max())) - before
    asked = outsets.corners[:, axis, None] + places
    shown = np.where(asked < 0, -1 - asked, asked)
    shown = np.where(shown >= n_cells, 2 * n_cells - 1 - shown, shown)
    in_box, in_frame = (places >= 0) & (places < extent), (asked >= 0) & (asked < n_cells)
    # What lies beyond the box is not looked at, and may lie anywhere.
    return np.clip(shown, 0, n_cells - 1), in_box, in_frame


def _mine(outsets: Outsets, margin_cell: int, shape: tuple[int, ...]) -> NDArray[np.bool_]:
    """Draw each region in a map of its own, (n, h, w)."""
    corners = outsets.regions.start - margin_cell
    crops = Crops(top=corners[:, 0], left=corners[:, 1], shape=(shape[1], shape[2]))
    return crops.drawn(outsets.regions.cells)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Places:
    """Rows and columns of a picture that some maps show, (n, h, 1) and (n, 1, w).

    `is_whole` where none of them is mirrored: then maps are cut out as they are.
    """

    row: NDArray[np.intp]
    col: NDArray[np.intp]
    is_whole: bool

    @property
    def windows(self) -> Crops:
        """The same as windows of the picture, where it has them."""
        shape = self.row.shape[1], self.col.shape[2]
        return Crops(top=self.row[:, 0, 0], left=self.col[:, 0, 0], shape=shape)

    def cells(self, plane: NDArray[Value]) -> NDArray[Value]:
        """Return what lies there in an array, (n, h, w)."""
        if self.is_whole:
            return self.windows.cells(plane)
        return cells_at(plane, self.row, self.col)

    def values(self, plane: Windows) -> NDArray[np.float32]:
        """Return what lies there in a plane, (n, h, w)."""
        if self.is_whole:
            return self.windows.cut(plane)
        return values_at(plane, self.row, self.col)


def _contrast(flat: FlatFrame, outsets: Outsets, at: _Places) -> NDArray[np.float32]:
    """Return the contrast round marks, the shadows of others that lie over them taken off."""
    contrast = at.values(flat.contrast)
    row, col = at.row, at.col
    for place, alone in outsets.regions.alone.items():
        top, left = outsets.regions.start[place]
        down, right = row[place, :, 0] - top, col[place, 0] - left
        shown = (
            np.flatnonzero((down >= 0) & (down < alone.shape[0]))[:, None],
            np.flatnonzero((right >= 0) & (right < alone.shape[1])),
        )
        contrast[place][shown] = alone[down[shown[0]], right[shown[1]]]
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
