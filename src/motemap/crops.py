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
from motemap.planes import cells_at, crops_of
from motemap.records.cells import Cells

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from motemap.masks import Boxes
    from motemap.records import Windows

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
        return cells_at(squares, rows[:, :, None], cols[:, None, :])

    def drawn(self, cells: Cells) -> NDArray[np.bool_]:
        """Return where cells of the plane lie, those of each mask in a crop of its own, (n, h, w)."""
        height, width = self.shape
        stack = np.zeros((len(self.top), height, width), np.bool_)
        crop = cells.mask
        down, right = cells.row - self.top[crop], cells.col - self.left[crop]
        stack.reshape(-1)[(crop * height + down) * width + right] = True
        return stack

    def listed(self, marks: NDArray[np.bool_]) -> tuple[Cells, NDArray[np.intp]]:
        """List the cells of masks that fill the crops, (n, h, w); also their places in the stack."""
        height, width = self.shape
        place = np.flatnonzero(marks)
        line = place // width
        crop = line // height
        cells = Cells(
            first=np.searchsorted(place, np.arange(len(self.top) + 1) * (height * width)),
            row=line - crop * height + self.top[crop],
            col=place - line * width + self.left[crop],
        )
        return cells, place

    def inner(self, boxes: Boxes) -> Crops:
        """Return crops within these, as small as may be, that hold a box each."""
        height, width = (boxes.stop - boxes.start).max(axis=0).tolist()
        return Crops(
            top=np.minimum(boxes.start[:, 0], self.top + (self.shape[0] - height)),
            left=np.minimum(boxes.start[:, 1], self.left + (self.shape[1] - width)),
            shape=(height, width),
        )

    def part(self, stack: NDArray[Value], inner: Crops) -> NDArray[Value]:
        """Return what of a stack, (n, h, w), lies in crops within these."""
        windows = sliding_window_view(stack, inner.shape, axis=(1, 2))
        every = np.arange(len(stack))
        within: NDArray[Value] = windows[every, inner.top - self.top, inner.left - self.left]
        return within


def crops_round(
    boxes: Boxes, pads: NDArray[np.intp], shape: tuple[int, ...]
) -> Iterator[tuple[NDArray[np.intp], Crops]]:
    """Yield crops that hold boxes of a plane and some cells round them, those of like size stacked.

    Parameters
    ----------
    boxes : Boxes
    pads : (n,) int
        Cells round each that its crop has to hold, as far as there are any.
    shape : (int, int)
        Rows and columns of the plane.

    Yields
    ------
    members : (n,) int
        Which of the boxes.
    crops : Crops
        One for each of these. A crop that would reach beyond the plane is moved back into it.
    """
    starts, stops = boxes.start - pads[:, None], boxes.stop + pads[:, None]
    largest = np.array([side for side in SIDES if side <= min(shape)], np.intp)
    order = np.searchsorted(largest, (stops - starts).max(axis=1))
    for number, side in enumerate(largest.tolist()):
        members = np.flatnonzero(order == number)
        most = STACK_CELLS // side**2
        for first in range(0, len(members), most):
            some = members[first : first + most]
            top, left = np.clip(starts[some], 0, np.array(shape) - side).T
            yield some, Crops(top=top, left=left, shape=(side, side))
    for one in np.flatnonzero(order == len(largest))[:, None]:
        (start,), (stop,) = np.maximum(starts[one], 0), np.minimum(stops[one], shape)
        height, width = (stop - start).tolist()
        yield one, Crops(top=start[:1], left=start[1:], shape=(height, width))
