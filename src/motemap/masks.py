"""Masks: their connected pieces, the boxes round these, and growing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import cv2
import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

Box = tuple[slice, slice]
"""Rows and columns of a crop."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Boxes:
    """The n boxes round some pieces of a plane.

    Parameters
    ----------
    start, stop : (n, 2) int
        Row and column at which each begins, and those before which it ends.
    """

    start: NDArray[np.intp]
    stop: NDArray[np.intp]

    def __len__(self) -> int:
        """Return how many there are."""
        return len(self.start)

    def __getitem__(self, number: int) -> Box:
        """Return one as slices."""
        (top, left), (bottom, right) = self.start[number].tolist(), self.stop[number].tolist()
        return slice(top, bottom), slice(left, right)

    def only(self, some: NDArray[np.intp] | NDArray[np.bool_]) -> Boxes:
        """Return some of them."""
        return Boxes(start=self.start[some], stop=self.stop[some])


_SIDES: Final = cv2.getStructuringElement(cv2.MORPH_CROSS, (3, 3))
_SIDES_AND_CORNERS: Final = cv2.getStructuringElement(cv2.MORPH_RECT, (3, 3))


def label_pieces(mask: NDArray[np.bool_], *, by_corners: bool = True) -> NDArray[np.int32]:
    """Count the connected pieces of a mask from 1, in reading order of their first cells.

    Parameters
    ----------
    mask : (h, w) or (n, h, w) bool
        In a stack of masks each is looked at by itself and the count goes on.
    by_corners : bool
        Whether cells connect that touch at their corners only.
    """
    *n_masks, height, width = mask.shape
    if not n_masks:
        return _labelled(mask.view(np.uint8), by_corners=by_corners)
    apart = np.zeros((*n_masks, height + 1, width), np.uint8)
    apart[:, :height] = mask
    label = _labelled(apart.reshape(-1, width), by_corners=by_corners)
    return np.ascontiguousarray(label.reshape(apart.shape)[:, :height])


def _labelled(mask: NDArray[np.uint8], *, by_corners: bool) -> NDArray[np.int32]:
    # This way of labelling goes on cell by cell, which gives the order; others go by blocks.
    _, label = cv2.connectedComponentsWithAlgorithm(
        mask, 8 if by_corners else 4, cv2.CV_32S, cv2.CCL_SAUF
    )
    return np.asarray(label, dtype=np.int32)


def label_cells(cells: NDArray[np.intp], n_cols: int) -> NDArray[np.intp]:
    """Count the connected pieces of a few cells of a large plane as `label_pieces` does, (n,).

    Cells connect that touch at their sides or corners.

    Parameters
    ----------
    cells : (n,) int
        Their numbers, counted along the rows of the plane; rising.
    n_cols : int
        Columns of the plane.
    """
    # With a free column beyond the last, the end of a row does not touch the next.
    places = cells + cells // n_cols
    row_step = n_cols + 1
    is_first = np.diff(places, prepend=-2) > 1
    is_last = np.append(is_first[1:], True)[: len(is_first)]
    first, last = places[is_first], places[is_last]
    above = np.searchsorted(last, first - row_step - 1)
    n_above = np.searchsorted(first, last - row_step + 1, side="right") - above
    below = np.repeat(np.arange(len(first)), n_above)
    nth = np.arange(len(below)) - (np.cumsum(n_above) - n_above)[below]
    least = _least_of_joined(len(first), above[below] + nth, below)
    numbers = np.cumsum(least == np.arange(len(first)))
    return np.asarray(numbers[least][np.cumsum(is_first) - 1], dtype=np.intp)


def _least_of_joined(
    n_things: int, one: NDArray[np.intp], other: NDArray[np.intp]
) -> NDArray[np.intp]:
    """Return the least number among all that each thing is joined with, given pairs of them."""
    least = np.arange(n_things)
    while one.size:
        pair = least[one], least[other]
        np.minimum.at(least, np.maximum(*pair), np.minimum(*pair))
        while not np.array_equal(least, further := least[least]):
            least = further
        is_apart = least[one] != least[other]
        one, other = one[is_apart], other[is_apart]
    return least


def piece_boxes(
    piece: NDArray[np.integer], rows: NDArray[np.intp], cols: NDArray[np.intp]
) -> Boxes:
    """Return the box round the cells of each piece.

    Parameters
    ----------
    piece : (n,) int
        Number of each cell's piece, from 1; none of them is missing.
    rows, cols : (n,) int
        Where the cells lie.
    """
    n_pieces = int(piece.max(initial=0))
    start = np.full((n_pieces, 2), np.iinfo(np.intp).max)
    stop = np.zeros((n_pieces, 2), np.intp)
    for axis, along in enumerate((rows, cols)):
        np.minimum.at(start[:, axis], piece - 1, along)
        np.maximum.at(stop[:, axis], piece - 1, along + 1)
    return Boxes(start=start, stop=stop)


def grown(
    mask: NDArray[np.bool_], reach_cells: int, *, by_corners: bool = False
) -> NDArray[np.bool_]:
    """Return the cells that can be reached from a mask in so many steps.

    Parameters
    ----------
    mask : (h, w) bool
    reach_cells : int
    by_corners : bool
        Whether a step may go to a cell that touches at a corner only.
    """
    near = _SIDES_AND_CORNERS if by_corners else _SIDES
    return cv2.dilate(mask.view(np.uint8), near, iterations=reach_cells).astype(np.bool_)
