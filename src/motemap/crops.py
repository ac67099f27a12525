"""Many small crops of one size, cut out of a plane and stacked.

A call of numpy on one mark's few hundred cells costs more than its arithmetic, so what is done for
each mark is done for stacks of crops.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from motemap.filters import STACK_CELLS
from motemap.planes import crops_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from motemap.masks import Box
    from motemap.records import Region, Windows

SIDES = (16, 20, 24, 28, 32, 40, 48, 64)
"""Sides of the crops that are stacked; what needs a larger one is cut out by itself."""

Value = TypeVar("Value", bound=np.generic)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Crops:
    """Crops of one size, all within the plane.

    Parameters
    ----------
    top, left : (n,) int
        Row and column of the plane at which each begins.
    shape : (int, int)
        Rows and columns of each.
    """

    top: NDArray[np.intp]
    left: NDArray[np.intp]
    shape: tuple[int, int]

    def cut(self, plane: Windows) -> NDArray[np.float32]:
        """Return what lies in a plane, (n, h, w)."""
        return crops_of(plane, self.top, self.left, self.shape)

    def cells(self, squares: NDArray[Value], side: int = 1) -> NDArray[Value]:
        """Return what lies in an array that has one value for squares of so many cells a side."""
        if side == 1:
            whole: NDArray[Value] = sliding_window_view(squares, self.shape)[self.top, self.left]
            return whole
        rows = (self.top[:, None] + np.arange(self.shape[0])) // side
        cols = (self.left[:, None] + np.arange(self.shape[1])) // side
        taken: NDArray[Value] = squares[rows[:, :, None], cols[:, None, :]]
        return taken

    def laid(self, masks: Sequence[NDArray[np.bool_]], boxes: Sequence[Box]) -> NDArray[np.bool_]:
        """Return where masks lie that fill some boxes of the plane, one a crop, (n, h, w)."""
        stack = np.zeros((len(self.top), *self.shape), np.bool_)
        for crop, mask, box in zip(stack, masks, self.within(boxes), strict=True):
            crop[box] = mask
        return stack

    def within(self, boxes: Sequence[Box]) -> list[Box]:
        """Return where in each crop a box of the plane lies."""
        return [
            (slice(rows.start - top, rows.stop - top), slice(cols.start - left, cols.stop - left))
            for (rows, cols), top, left in zip(
                boxes, self.top.tolist(), self.left.tolist(), strict=True
            )
        ]


def crops_round(
    boxes: Sequence[Box], pads: NDArray[np.intp], shape: tuple[int, ...]
) -> Iterator[tuple[list[int], Crops]]:
    """Yield crops that hold boxes of a plane and some cells round them, those of like size stacked.

    Parameters
    ----------
    boxes : sequence of (slice, slice)
    pads : (n,) int
        Cells round each that its crop has to hold, as far as there are any.
    shape : (int, int)
        Rows and columns of the plane.

    Yields
    ------
    members : list of int
        Which of the boxes.
    crops : Crops
        One for each of these. A crop that would reach beyond the plane is moved back into it.
    """
    if not boxes:
        return
    sides = np.array([(rows.start, cols.start, rows.stop, cols.stop) for rows, cols in boxes])
    starts, stops = sides[:, :2] - pads[:, None], sides[:, 2:] + pads[:, None]
    largest = np.array([side for side in SIDES if side <= min(shape)], np.intp)
    order = np.searchsorted(largest, (stops - starts).max(axis=1))
    for number, side in enumerate(largest.tolist()):
        members = np.flatnonzero(order == number)
        most = STACK_CELLS // side**2
        for first in range(0, len(members), most):
            some = members[first : first + most]
            top, left = np.clip(starts[some], 0, np.array(shape) - side).T
            yield some.tolist(), Crops(top=top, left=left, shape=(side, side))
    for member in np.flatnonzero(order == len(largest)).tolist():
        start, stop = np.maximum(starts[member], 0), np.minimum(stops[member], shape)
        height, width = (stop - start).tolist()
        yield [member], Crops(top=start[:1], left=start[1:], shape=(height, width))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cells:
    """The k cells of n masks, mask by mask.

    Parameters
    ----------
    mask : (k,) int
        Which of the masks each belongs to.
    row, col : (k,) int
        Where it lies in the plane.
    n_masks : int
    """

    mask: NDArray[np.intp]
    row: NDArray[np.intp]
    col: NDArray[np.intp]
    n_masks: int

    @classmethod
    def of(cls, masks: Sequence[NDArray[np.bool_]], corners: Sequence[tuple[int, int]]) -> Cells:
        """List the cells of masks, given the row and column at which each begins."""
        if not masks:
            none = np.empty(0, np.intp)
            return cls(mask=none, row=none, col=none, n_masks=0)
        n_cells = np.array([mask.size for mask in masks])
        first = np.cumsum(n_cells) - n_cells
        place = np.flatnonzero(np.concatenate([mask.ravel() for mask in masks]))
        n_true = np.diff(np.searchsorted(place, np.append(first, n_cells.sum())))
        of_mask = np.repeat(np.arange(len(masks)), n_true)
        width = np.array([mask.shape[1] for mask in masks])
        # Dividing numbers of 32 bits takes a third of the time.
        within, across = (place - first[of_mask]).astype(np.int32), width.astype(np.int32)[of_mask]
        down = within // across
        right = within - down * across
        top, left = np.array(corners, np.intp).T
        return cls(
            mask=of_mask, row=down + top[of_mask], col=right + left[of_mask], n_masks=len(masks)
        )

    @classmethod
    def of_regions(cls, regions: Sequence[Region]) -> Cells:
        """List the cells of regions."""
        corners = [(region.top_cell, region.left_cell) for region in regions]
        return cls.of([region.mask for region in regions], corners)

    def only(self, kept: NDArray[np.bool_]) -> Cells:
        """Keep some of the cells."""
        return Cells(
            mask=self.mask[kept], row=self.row[kept], col=self.col[kept], n_masks=self.n_masks
        )

    def middles(self) -> NDArray[np.float64]:
        """Return the mean row and column of each mask, (n, 2); none may be empty."""
        n_cells = np.bincount(self.mask, minlength=self.n_masks)
        sums = [np.bincount(self.mask, along, self.n_masks) for along in (self.row, self.col)]
        return np.stack(sums, axis=1) / n_cells[:, None]

    def sides(self) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Return where each mask starts and stops, (2, n): rows and columns; none may be empty."""
        start = np.full((2, self.n_masks), np.iinfo(np.intp).max)
        stop = np.zeros((2, self.n_masks), np.intp)
        for first, end, along in zip(start, stop, (self.row, self.col), strict=True):
            np.minimum.at(first, self.mask, along)
            np.maximum.at(end, self.mask, along + 1)
        return start, stop

    def largest(self, values: NDArray[np.float32]) -> NDArray[np.float32]:
        """Return the largest of the values at the cells of each mask, (n,)."""
        most = np.full(self.n_masks, -np.inf, np.float32)
        np.maximum.at(most, self.mask, values)
        return most
